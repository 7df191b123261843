#include "present/lens_json.h"

#include <math.h>

#include "base/language.h"
#include "lens/profile.h"
#include "present/catalogue.h"
#include "base/json.h"

/* Where there is no lens, no photo is used. */
static json_t *photo_json(const tr_lens_photo *p, bool has_lens) {
    json_t *json = json_object();
    bool used = p->is_used && has_lens;
    char why_not[TR_FINDING_TEXT_SIZE];
    tr_reason_text(p->why_not.items, why_not);
    if (json && tr_json_put(json, "file", tr_json_text(p->file)) &&
        tr_json_put(json, "used", json_boolean(used)) &&
        tr_json_put(json, "corners", json_integer(p->view.n)) &&
        tr_json_put(json, "rms_px", used ? tr_json_number(p->pose.rms_px) : json_null()) &&
        tr_json_put(json, "largest_px", used ? tr_json_number(p->pose.largest_px) : json_null()) &&
        tr_json_put(json, "missing", json_integer(p->view.n_missing)) &&
        tr_json_put(json, "blur_px",
                    p->view.n > 0 ? tr_json_number(p->view.blur_px) : json_null()) &&
        tr_json_put(json, "tilt_deg",
                    used ? tr_json_number(p->tilt_rad * TR_DEG_PER_RAD) : json_null()) &&
        tr_json_put(json, "sha256", *p->sha256 ? tr_json_text(p->sha256) : json_null()) &&
        tr_json_put(json, "reason", *why_not ? tr_json_text(why_not) : json_null())) {
        return json;
    }
    json_decref(json);
    return NULL;
}

json_t *tr_lens_photos_json(const tr_lens_run *run, bool has_lens) {
    json_t *array = json_array();
    bool ok = array;
    for (int i = 0; i < run->n_photos && ok; i++)
        ok = tr_json_push(array, photo_json(&run->photos[i], has_lens));
    if (ok) return array;
    json_decref(array);
    return NULL;
}

json_t *tr_lens_advice_json(const tr_findings *advice) {
    json_t *array = json_array();
    bool ok = array;
    for (int i = 0; i < advice->n && ok; i++) {
        json_t *item = json_object();
        char text[TR_FINDING_TEXT_SIZE];
        tr_finding_text(&advice->items[i], text);
        ok = item &&
             tr_json_put(item, "code", json_string(tr_finding_code(advice->items[i].kind))) &&
             tr_json_put(item, "text", tr_json_text(text)) &&
             tr_json_push(array, json_incref(item));
        json_decref(item);
    }
    if (ok) return array;
    json_decref(array);
    return NULL;
}

static json_t *numbers(const double *values, int n, int stride) {
    json_t *array = json_array();
    bool ok = array;
    for (int i = 0; i < n && ok; i++) ok = tr_json_push(array, tr_json_number(values[i * stride]));
    if (ok) return array;
    json_decref(array);
    return NULL;
}

static json_t *told(double value) {
    return value > 0 ? tr_json_number(value) : json_null();
}

static json_t *camera_json(const tr_camera *camera) {
    json_t *json = json_object();
    if (json &&
        tr_json_put(json, "name", *camera->name ? tr_json_text(camera->name) : json_null()) &&
        tr_json_put(json, "focal_length_mm", told(camera->focal_length_mm)) &&
        tr_json_put(json, "equivalent_focal_length_mm", told(camera->equivalent_focal_length_mm)) &&
        tr_json_put(json, "digital_zoom", told(camera->digital_zoom))) {
        return json;
    }
    json_decref(json);
    return NULL;
}

/* By kind [standard deviation, degrees of freedom], null where the photos do not tell. */
static json_t *scatter_json(const tr_lens_scatter *scatter) {
    json_t *json = json_object();
    bool ok = json && tr_json_put(json, "steady", json_boolean(scatter->is_steady));
    for (int k = 0; k < TR_SCATTER_N && ok; k++) {
        double pair[2] = {scatter->sd[k] * tr_lens_scatter_unit(k), scatter->dof[k]};
        ok = tr_json_put(json, tr_lens_scatter_key(k),
                         scatter->dof[k] > 0 ? numbers(pair, 2, 1) : json_null());
    }
    if (ok) return json;
    json_decref(json);
    return NULL;
}

static json_t *in_english(const tr_lens_run *run, const char *id, const char *file,
                          const tr_error *why) {
    const tr_calibration *c = &run->calibration;
    const double *p = c->lens.param;
    double sd[TR_LENS_N];
    for (int k = 0; k < TR_LENS_N; k++) sd[k] = sqrt(c->lens.covariance[k * (TR_LENS_N + 1)]);
    json_t *json = json_object();
    bool ok = json && tr_json_put(json, "lens", tr_json_text(id));
    if (why) {
        ok = ok && tr_json_put(json, "error", tr_json_error(why));
    } else {
        json_t *image = json_array();
        ok = ok && image && tr_json_push(image, json_integer(c->lens.width_px)) &&
             tr_json_push(image, json_integer(c->lens.height_px)) &&
             tr_json_put(json, "image_px", json_incref(image));
        json_decref(image);
        ok = ok && tr_json_put(json, "fx_px", tr_json_number(p[TR_FX])) &&
             tr_json_put(json, "fy_px", tr_json_number(p[TR_FY])) &&
             tr_json_put(json, "cx_px", tr_json_number(p[TR_CX])) &&
             tr_json_put(json, "cy_px", tr_json_number(p[TR_CY])) &&
             tr_json_put(json, "distortion", numbers(p + TR_K1, TR_LENS_N - TR_K1, 1)) &&
             tr_json_put(json, "sd", numbers(sd, TR_LENS_N, 1)) &&
             tr_json_put(json, "rms_px", tr_json_number(c->rms_px));
    }
    ok = ok && tr_json_put(json, "photos", tr_lens_photos_json(run, !why));
    if (!why) {
        ok = ok && tr_json_put(json, "sigma_px", tr_json_number(c->sigma_px)) &&
             tr_json_put(json, "degrees_of_freedom", json_integer(c->degrees_of_freedom)) &&
             tr_json_put(json, "bow_mm", numbers(c->bow_mm, 2, 1)) &&
             tr_json_put(json, "bow_sd_mm", numbers(c->bow_sd_mm, 2, 1)) &&
             tr_json_put(json, "rms_steady_px", tr_json_number(c->rms_steady_px)) &&
             tr_json_put(json, "scatter", scatter_json(&c->lens.scatter)) &&
             tr_json_put(json, "camera", camera_json(&c->lens.camera)) &&
             tr_json_put(json, "profile", tr_json_text(file));
    }
    ok = ok && tr_json_put(json, "advice", tr_lens_advice_json(&run->advice));
    if (ok) return json;
    json_decref(json);
    return NULL;
}

json_t *tr_lens_json(const tr_lens_run *run, const char *id, const char *file,
                     const tr_error *why) {
    tr_english_begin();
    json_t *json = in_english(run, id, file, why);
    tr_english_end();
    return json;
}
