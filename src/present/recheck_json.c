#include "present/recheck_json.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/json.h"
#include "present/lens_json.h"

static json_t *text_or_null(const char *text) {
    return *text ? tr_json_text(text) : json_null();
}

static json_t *board_json(const tr_board *board) {
    char squares[32];
    snprintf(squares, sizeof squares, "%dx%d", board->squares_x, board->squares_y);
    json_t *json = json_object();
    if (json && tr_json_put(json, "squares", json_string(squares)) &&
        tr_json_put(json, "pitch_mm", tr_json_number(board->pitch_mm))) {
        return json;
    }
    json_decref(json);
    return NULL;
}

/* fx and fy change alike: their geometric mean stands for both. */
static json_t *focal_json(const tr_recheck *r) {
    double stored_px = sqrt(r->stored.param[TR_FX] * r->stored.param[TR_FY]);
    json_t *json = json_object();
    if (json && tr_json_put(json, "stored_px", tr_json_number(stored_px)) &&
        tr_json_put(json, "measured_px", tr_json_number(stored_px * (1 + r->focal_change))) &&
        tr_json_put(json, "difference_percent", tr_json_number(100 * r->focal_change)) &&
        tr_json_put(json, "sd_percent", tr_json_number(100 * r->focal_sd)) &&
        tr_json_put(json, "deviations", tr_json_number(r->focal_change / r->focal_sd)) &&
        tr_json_put(json, "told_percent", tr_json_number(100 * r->focal_told)) &&
        tr_json_put(json, "chance", tr_json_number(r->focal_chance))) {
        return json;
    }
    json_decref(json);
    return NULL;
}

static json_t *rest_json(const tr_recheck *r) {
    json_t *json = json_object();
    if (json && tr_json_put(json, "chi2", tr_json_number(r->rest_chi2)) &&
        tr_json_put(json, "degrees_of_freedom", json_integer(r->rest_dof)) &&
        tr_json_put(json, "chance", tr_json_number(r->rest_chance))) {
        return json;
    }
    json_decref(json);
    return NULL;
}

/* The time of the newest photo used. */
static const char *newest(const tr_lens_run *run) {
    const char *newest = "";
    for (int i = 0; i < run->n_photos; i++) {
        const tr_lens_photo *p = &run->photos[i];
        if (p->is_used && strcmp(p->taken, newest) > 0) newest = p->taken;
    }
    return newest;
}

json_t *tr_recheck_json(const tr_lens_run *run, const tr_recheck *r, const char *file,
                        const tr_error *why) {
    const tr_calibration *c = &run->calibration;
    json_t *json = json_object();
    bool ok = json && tr_json_put(json, "lens", tr_json_text(r->stored.id)) &&
              tr_json_put(json, "profile", tr_json_text(file)) &&
              tr_json_put(json, "calibrated", text_or_null(r->stored.calibrated)) &&
              tr_json_put(json, "board", board_json(&run->board));
    if (why) {
        ok = ok && tr_json_put(json, "error", tr_json_error(why));
    } else {
        ok = ok && tr_json_put(json, "verdict", json_string(tr_recheck_word(r->verdict))) &&
             tr_json_put(json, "taken", text_or_null(newest(run)));
    }
    if (!why && r->is_measured) {
        ok = ok && tr_json_put(json, "rms_px", tr_json_number(c->rms_px)) &&
             tr_json_put(json, "sigma_px", tr_json_number(c->sigma_px)) &&
             tr_json_put(json, "degrees_of_freedom", json_integer(c->degrees_of_freedom)) &&
             tr_json_put(json, "focal_length", focal_json(r)) &&
             tr_json_put(json, "others", rest_json(r));
    }
    ok = ok && tr_json_put(json, "photos", tr_lens_photos_json(run, !why && r->is_measured)) &&
         tr_json_put(json, "advice", tr_lens_advice_json(&r->reasons));
    if (ok) return json;
    json_decref(json);
    return NULL;
}
