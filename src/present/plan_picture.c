#include "present/plan_picture.h"

#include <stdio.h>
#include <string.h>

#include "base/language.h"
#include "present/canvas.h"
#include "present/cautions.h"
#include "present/picture.h"
#include "present/plan.h"
#include "present/words.h"

/* The page, px. */
static const double MARGIN = 36;
static const tr_box FLOOR = {36, 130, 880, 980};
static const tr_box LIST = {960, 190, 924, 560};
static const tr_box TABLE = {960, 760, 924, 270};
static const double EXPECTED_Y = 1050, FOOT_Y = 1138;

static double page_width(void) {
    return TR_PICTURE_WIDTH_PX - 2 * MARGIN;
}

static void draw_head(tr_canvas *canvas, const tr_plan_report *report) {
    const tr_check_result *r = &report->plan->result;
    char text[512], why[2048];
    tr_type type = {.size_px = 46, .smallest_px = 24, .is_bold = true, .colour = TR_INK};
    snprintf(text, sizeof text, TR_("Where to take the photos · %s · %s · %s"), r->job, r->layout,
             r->vehicle);
    tr_canvas_text(canvas, MARGIN, 22, page_width(), type, text);
    tr_plan_why(report, why, sizeof why);
    type = (tr_type){.size_px = 26, .smallest_px = 14, .colour = TR_INK, .lines = 3};
    tr_canvas_text(canvas, LIST.x, 96, LIST.width, type, why);
}

static void draw_list(tr_canvas *canvas, const tr_plan *plan) {
    double height = LIST.height / fmax(6, plan->n_photos);
    const tr_type type = {
        .size_px = fmin(23, 0.26 * height), .smallest_px = 9, .colour = TR_INK, .lines = 3};
    for (int i = 0; i < plan->n_photos; i++) {
        const tr_planned_photo *p = &plan->photos[i];
        double y = LIST.y + i * height;
        char place[256], look[384], sheets[512], text[1536], position[64] = "";
        char which[48];
        tr_plan_place_words(plan, p->station.at_mm, place, sizeof place);
        tr_plan_look_words(plan, p->station.look_at_mm, look, sizeof look);
        tr_plan_sheet_words(plan, p->sees, sheets, sizeof sheets);
        if (plan->n_positions > 1) {
            snprintf(which, sizeof which, TR_("Position %d:"), p->station.position + 1);
            snprintf(position, sizeof position, "%s ", which);
        }
        snprintf(text, sizeof text, TR_("%s%s; camera %.1f m high, aimed at %s. Shows %s."),
                 position, place, p->station.at_mm.z / 1000, look, sheets);
        tr_plan_draw_number(canvas, LIST.x + 24, y + 0.45 * height, fmin(22, 0.4 * height), i + 1);
        tr_canvas_text(canvas, LIST.x + 62, y, LIST.width - 62, type, text);
    }
}

static void draw_row(tr_canvas *canvas, double y, double size_px, const char *const cells[4]) {
    static const double COLUMN[] = {0, 480, 640, 800};
    tr_type type = {.size_px = size_px, .smallest_px = 0.45 * size_px, .colour = TR_INK};
    for (int k = 0; k < 4; k++) {
        type.align = k == 0 ? TR_ALIGN_LEFT : TR_ALIGN_RIGHT;
        tr_canvas_text(canvas, TABLE.x + COLUMN[k], y, k == 0 ? 470 : 124, type, cells[k]);
    }
}

/* u95 of each judged axis. */
static int count_judged(const tr_axis_result axis[TR_N_AXES]) {
    int n = 0;
    for (tr_axis k = 0; k < TR_N_AXES; k++) n += axis[k].is_judged;
    return n;
}

static const char *id_of(const tr_check_result *result, int target) {
    return result->sheets[result->targets[target].sheet].id;
}

/* Below *y, which moves on, the judged axes of a target or a relation. */
static void draw_axes(tr_canvas *canvas, double step, double *y, const char *of,
                      const tr_axis_result axis[TR_N_AXES]) {
    for (tr_axis k = 0; k < TR_N_AXES; k++) {
        const tr_axis_result *r = &axis[k];
        char title[224], cells[3][TR_CELL_SIZE] = {"–", "", ""};
        if (!r->is_judged) continue;
        snprintf(title, sizeof title, "%s, %s, %s", of, tr_axis_title(k), tr_axis_unit(k));
        if (r->is_measured) tr_u95_cell(k, r->u95, cells[0]);
        tr_u95_cell(k, TR_PLAN_AIM * r->limit, cells[1]);
        tr_u95_cell(k, r->limit, cells[2]);
        *y += step;
        draw_row(canvas, *y, 0.65 * step, (const char *[]){title, cells[0], cells[1], cells[2]});
    }
}

static void draw_table(tr_canvas *canvas, const tr_check_result *result) {
    const char *const HEADS[4] = {TR_("u95, k = 2"), TR_("expected"), TR_("aim"), TR_("limit")};
    char title[160];
    int n = 1;
    for (int i = 0; i < result->n_targets; i++) n += count_judged(result->targets[i].axis);
    for (int i = 0; i < result->n_relations; i++) n += count_judged(result->relations[i].axis);
    double step = fmin(40, TABLE.height / n);
    double y = TABLE.y;
    draw_row(canvas, y, 0.6 * step, HEADS);
    for (int i = 0; i < result->n_targets; i++) {
        draw_axes(canvas, step, &y, id_of(result, i), result->targets[i].axis);
    }
    for (int i = 0; i < result->n_relations; i++) {
        const tr_relation_result *r = &result->relations[i];
        snprintf(title, sizeof title, TR_("%s to %s"), id_of(result, r->targets[0]),
                 id_of(result, r->targets[1]));
        draw_axes(canvas, step, &y, title, r->axis);
    }
}

static void draw_foot(tr_canvas *canvas, const tr_plan_report *report) {
    tr_type type = {.size_px = 20, .smallest_px = 12, .colour = TR_INK, .lines = 3};
    tr_canvas_text(canvas, LIST.x, EXPECTED_Y, LIST.width, type, tr_plan_expected(report));
    type.lines = 2;
    tr_canvas_text(canvas, MARGIN, FOOT_Y, page_width(), type, tr_cautions());
}

bool tr_plan_picture_write(const tr_plan_report *report, const char *path, tr_error *err) {
    tr_canvas canvas;
    if (!tr_canvas_init(&canvas, TR_PICTURE_WIDTH_PX, TR_PICTURE_HEIGHT_PX, err)) return false;
    draw_head(&canvas, report);
    tr_plan_draw_stations(&canvas, FLOOR, report->plan);
    draw_list(&canvas, report->plan);
    draw_table(&canvas, &report->plan->result);
    draw_foot(&canvas, report);
    bool ok = tr_canvas_write(&canvas, path, err);
    tr_canvas_release(&canvas);
    return ok;
}
