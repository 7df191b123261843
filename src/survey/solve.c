#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "diagnose/flatness.h"
#include "geom/dense.h"
#include "base/array.h"
#include "photos/order.h"
#include "photos/photo_findings.h"
#include "survey/network.h"
#include "survey/survey.h"
#include "verdict/verdict.h"

/* Fewer photos than MIN give nothing that can be checked; fewer than GOOD are few. */
enum { MIN_PHOTOS = 3, GOOD_PHOTOS = 5 };
/* Two-sided normal test at 0.1 % (Baarda's usual level). */
static const double CRITICAL_W = 3.29;
/* A mark that weighs less than this in the print's scale lies off by itself. */
static const double PRINTED_WEIGHT = 0.3;
/* Named marks that fit their places worse than this are not what they are taken for. mm */
static const double ALIGN_RMS_MM = 2.0;
/* A scale known worse than this is hardly better than none: 1 mm in a metre. */
static const double WEAK_SCALE_SD = 5e-4;
/* A mark known worse than this is better not used. mm */
static const double WEAK_U95_MM = 1.0;
static const double NOT_FLAT_MM = 5.0;
/* A tag whose edge differs more from what the survey file states is another print than meant:
   printers are off by less. Part of the edge. */
static const double OTHER_SIZE_PART = 0.05;

static const char *sheet_id(const tr_survey *v, int sheet) {
    return v->spec->sheets[sheet].id;
}

/* ---- the frame of one sheet ---- */

/* The sheet's marks as they take part in one frame, and the rows of its covariance. */
typedef struct {
    int n;               /* measured marks */
    int *mark;           /* of the survey */
    int *row;            /* first row in C: TR_TAG_N a tag, TR_CORNER_N a corner */
    tr_datum_mark *data; /* of all n marks; weight 0 where not used */
    int n_rows;
    double *C; /* n_rows square */
} frame;

static void release_frame(frame *f) {
    free(f->mark);
    free(f->row);
    free(f->data);
    free(f->C);
    memset(f, 0, sizeof *f);
}

/* d(row) / d(unknowns of the mark): TR_OFFSET_N values. */
static void row_of_unknowns(const tr_tag *base, bool is_tag, int k, double *out) {
    memset(out, 0, TR_OFFSET_N * sizeof *out);
    if (!is_tag || k <= TR_TAG_Y) {
        out[k == 0 ? TR_OFFSET_X : TR_OFFSET_Y] = 1;
    } else if (k == TR_TAG_TURN) {
        out[TR_OFFSET_TURN] = 1;
    } else {
        double edge = k == TR_TAG_WIDTH ? tr_tag_width(base) : tr_tag_height(base);
        out[TR_OFFSET_SCALE] = edge;
        out[TR_OFFSET_DIFFERENTIAL_SCALE] = k == TR_TAG_WIDTH ? edge : -edge;
    }
}

static int rows_of_mark(const tr_survey_mark *m) {
    return m->name.is_tag ? TR_TAG_N : TR_CORNER_N;
}

/* Covariance of the sheet's rows in the network's frame. */
static void gather_covariance(const tr_survey_network *w, double factor, frame *f) {
    const tr_survey *v = w->survey;
    for (int a = 0; a < f->n; a++) {
        for (int b = 0; b < f->n; b++) {
            int ca = tr_survey_column(w, f->mark[a]);
            int cb = tr_survey_column(w, f->mark[b]);
            const tr_survey_mark *ma = &v->marks[f->mark[a]];
            const tr_survey_mark *mb = &v->marks[f->mark[b]];
            for (int i = 0; i < rows_of_mark(ma); i++) {
                double ga[TR_OFFSET_N];
                row_of_unknowns(&w->base[f->mark[a]], ma->name.is_tag, i, ga);
                for (int j = 0; j < rows_of_mark(mb); j++) {
                    double gb[TR_OFFSET_N];
                    double sum = 0;
                    row_of_unknowns(&w->base[f->mark[b]], mb->name.is_tag, j, gb);
                    for (int p = 0; p < TR_OFFSET_N; p++) {
                        if (ga[p] == 0.0) continue;
                        for (int q = 0; q < TR_OFFSET_N; q++) {
                            sum += ga[p] * gb[q] * w->covariance[(ca + p) * w->n_unknowns + cb + q];
                        }
                    }
                    f->C[(f->row[a] + i) * f->n_rows + f->row[b] + j] = factor * sum;
                }
            }
        }
    }
}

static bool gather(const tr_survey_network *w, int sheet, double factor, frame *f, tr_error *err) {
    const tr_survey *v = w->survey;
    const tr_survey_sheet *s = &v->sheets[sheet];
    memset(f, 0, sizeof *f);
    f->mark = tr_array(s->n_marks, sizeof *f->mark);
    f->row = tr_array(s->n_marks, sizeof *f->row);
    f->data = tr_array(s->n_marks, sizeof *f->data);
    if (!f->mark || !f->row || !f->data) return tr_fail_memory(err);
    for (int i = s->first_mark; i < s->first_mark + s->n_marks; i++) {
        const tr_survey_mark *m = &v->marks[i];
        if (!w->is_seen[i]) continue;
        f->mark[f->n] = i;
        f->row[f->n] = f->n_rows;
        f->n_rows += rows_of_mark(m);
        tr_datum_mark *d = &f->data[f->n++];
        *d = (tr_datum_mark){.measured_mm = tr_survey_network_place(w, i),
                             .nominal_mm = m->nominal_mm,
                             .is_known = {m->has_nominal, m->has_nominal}};
        const tr_stuck_tag *stuck =
            m->name.is_tag ? tr_survey_stuck(v->spec, sheet, m->name.index) : NULL;
        if (!stuck) continue;
        d->nominal_mm = stuck->at_mm;
        memcpy(d->is_known, stuck->is_known, sizeof d->is_known);
    }
    if (f->n_rows > TR_SHEET_MAX_ROWS) {
        return tr_fail(err, TR_BAD_INPUT,
                       "%s has %d tags and corners in view, too many for one survey (5 values a "
                       "tag and 2 a corner, at most %d); leave corners out of its file",
                       sheet_id(v, sheet), f->n, TR_SHEET_MAX_ROWS);
    }
    f->C = tr_table(f->n_rows, f->n_rows, sizeof *f->C);
    if (!f->C) return tr_fail_memory(err);
    gather_covariance(w, factor, f);
    return true;
}

/* C = A C A', in place; A: n x n by rows. */
static bool transform(double *C, const double *A, int n, tr_error *err) {
    double *transformed = tr_table(n, n, sizeof *transformed);
    double *row = tr_array(n, sizeof *row);
    bool ok = transformed && row;
    if (ok) {
        tr_dense_add_propagated(A, n, n, C, n, row, transformed);
        memcpy(C, transformed, (size_t)n * (size_t)n * sizeof *C);
    }
    free(transformed);
    free(row);
    return ok || tr_fail_memory(err);
}

/* The covariance along the new frame's axes. */
static bool turn_axes(frame *f, double theta, tr_error *err) {
    double *A = tr_table(f->n_rows, f->n_rows, sizeof *A);
    if (!A) return tr_fail_memory(err);
    for (int i = 0; i < f->n_rows; i++) A[i * (f->n_rows + 1)] = 1;
    for (int a = 0; a < f->n; a++) {
        double *x = A + f->row[a] * (f->n_rows + 1);
        double *y = x + f->n_rows;
        x[0] = cos(theta);
        x[1] = sin(theta);
        y[0] = -sin(theta);
        y[1] = cos(theta);
    }
    bool ok = transform(f->C, A, f->n_rows, err);
    free(A);
    return ok;
}

/* Frame and scales as functions of the sheet's rows: 5 x n_rows. */
static bool sensitivity_of_rows(const frame *f, const tr_datum *d, double *G, double inverse[25],
                                tr_error *err) {
    double *of_marks = tr_table(10, f->n, sizeof *of_marks);
    if (!of_marks) return tr_fail_memory(err);
    bool ok = tr_datum_sensitivity(d, f->data, f->n, of_marks, inverse);
    for (int p = 0; p < 5 && ok; p++) {
        for (int a = 0; a < f->n; a++) {
            for (int k = 0; k < 2; k++) {
                G[p * f->n_rows + f->row[a] + k] = of_marks[p * 2 * f->n + 2 * a + k];
            }
        }
    }
    free(of_marks);
    return ok || tr_fail(err, TR_NO_MEASURE, "the marks do not determine the sheet's frame");
}

/* A sheet with one tag of known place: the tag's own centre and turn are the frame. */
static bool is_lone(const frame *f, const tr_survey *v, int *lone) {
    int n = 0;
    for (int a = 0; a < f->n; a++) {
        if (!(f->data[a].weight > 0)) continue;
        n++;
        *lone = a;
    }
    return n == 1 && v->marks[f->mark[*lone]].has_nominal && v->marks[f->mark[*lone]].name.is_tag;
}

static void lone_datum(const tr_survey_network *w, const frame *f, int lone, tr_datum *d) {
    int i = f->mark[lone];
    double turn = w->base[i].turn_rad + w->net.offsets[i].value[TR_OFFSET_TURN];
    *d = (tr_datum){.scale = {1, 1}};
    d->theta_rad = tr_wrap_rad(turn - w->survey->marks[i].nominal_turn_rad);
    tr_vec2 k = w->survey->marks[i].nominal_mm;
    double c = cos(d->theta_rad);
    double s = sin(d->theta_rad);
    d->t_mm = tr_v2_sub(f->data[lone].measured_mm, tr_v2(c * k.x - s * k.y, s * k.x + c * k.y));
}

/* The covariance with the frame resting on the datum marks (S-transformation). */
static bool transform_to_datum(frame *f, const tr_datum *d, const double *G, tr_error *err) {
    int n = f->n_rows;
    double *S = tr_table(n, n, sizeof *S);
    if (!S) return tr_fail_memory(err);
    for (int i = 0; i < n; i++) S[i * (n + 1)] = 1;
    for (int a = 0; a < f->n; a++) {
        tr_vec2 p = tr_datum_apply(d, f->data[a].measured_mm);
        int rows = a + 1 < f->n ? f->row[a + 1] - f->row[a] : n - f->row[a];
        for (int j = 0; j < n; j++) {
            double *at = S + f->row[a] * n + j;
            at[0] += -G[j] + p.y * G[2 * n + j];
            at[n] += -G[n + j] - p.x * G[2 * n + j];
            if (rows == TR_TAG_N) at[TR_TAG_TURN * n] -= G[2 * n + j];
        }
    }
    bool ok = transform(f->C, S, n, err);
    free(S);
    return ok;
}

/* ---- which marks are the datum ---- */

static int position_in(const tr_survey *v, const frame *f, tr_mark_name name) {
    for (int a = 0; a < f->n; a++) {
        tr_mark_name n = v->marks[f->mark[a]].name;
        if (n.is_tag == name.is_tag && n.index == name.index) return a;
    }
    return -1;
}

/* Two named marks of unknown place: on the centre line x = 0, the origin midway. */
static void put_on_centre_line(const tr_survey *v, tr_survey_align align, int sheet, frame *f) {
    int at[2] = {-1, -1};
    int n = 0;
    for (int i = 0; i < align.n; i++) {
        if (align.marks[i].sheet != sheet) continue;
        int a = position_in(v, f, align.marks[i]);
        if (n == 2 || a < 0 || f->data[a].is_known[0] || f->data[a].is_known[1]) return;
        at[n++] = a;
    }
    if (n != 2) return;
    double d = tr_v2_norm(tr_v2_sub(f->data[at[1]].measured_mm, f->data[at[0]].measured_mm));
    for (int k = 0; k < 2; k++) {
        f->data[at[k]].nominal_mm = tr_v2(0, (k ? 0.5 : -0.5) * d);
        f->data[at[k]].is_known[0] = f->data[at[k]].is_known[1] = true;
    }
}

static bool fail_align(const tr_survey *v, int sheet, tr_error *err) {
    return tr_fail(err, TR_NO_MEASURE,
                   "the marks named do not say where the frame of %s is: name two corners or tags "
                   "whose places its file gives, or two tags on its centre line, the lower one "
                   "first",
                   sheet_id(v, sheet));
}

/* The datum by the marks named for this sheet. */
static bool align_datum(const tr_survey_network *w, tr_survey_align align, int sheet, frame *f,
                        tr_datum *d, tr_error *err) {
    const tr_survey *v = w->survey;
    tr_datum_mark *named = tr_array(f->n, sizeof *named);
    int n = 0;
    if (!named) return tr_fail_memory(err);
    for (int a = 0; a < f->n; a++) f->data[a].weight = 0;
    put_on_centre_line(v, align, sheet, f);
    bool ok = true;
    for (int i = 0; i < align.n && ok; i++) {
        char title[32];
        if (align.marks[i].sheet != sheet) continue;
        int a = position_in(v, f, align.marks[i]);
        tr_survey_mark_title(v->spec, align.marks[i], title, sizeof title);
        if (a < 0) {
            ok = tr_fail(err, TR_NO_MEASURE,
                         "%s of %s, on which the frame is to rest, was not measured; make sure "
                         "that it is in two photos, or name another",
                         title, sheet_id(v, sheet));
        } else if (!(f->data[a].weight > 0)) {
            f->data[a].weight = 1;
            named[n++] = f->data[a];
        }
    }
    int lone = 0;
    if (ok && is_lone(f, v, &lone)) {
        lone_datum(w, f, lone, d);
    } else if (ok && !tr_datum_fit(named, n, d)) {
        ok = fail_align(v, sheet, err);
    }
    free(named);
    return ok;
}

/* The datum by all marks whose places the file gives, but for those that lie off by themselves. */
static bool default_datum(const tr_survey_network *w, int sheet, frame *f, tr_datum *d,
                          tr_error *err) {
    const tr_survey *v = w->survey;
    tr_datum_mark *known = tr_array(f->n, sizeof *known);
    int *at = tr_array(f->n, sizeof *at);
    int n = 0;
    bool ok = known && at;
    if (!ok) tr_fail_memory(err);
    for (int a = 0; a < f->n && ok; a++) {
        f->data[a].weight = 0;
        if (!v->marks[f->mark[a]].has_nominal) continue;
        f->data[a].weight = 1;
        known[n] = f->data[a];
        at[n++] = a;
    }
    int lone = 0;
    if (ok && is_lone(f, v, &lone)) {
        lone_datum(w, f, lone, d);
    } else if (ok && tr_datum_fit_robust(known, n, d, err)) {
        for (int k = 0; k < n; k++) f->data[at[k]].weight = known[k].weight;
    } else if (ok) {
        /* unless memory ran out, which is set already */
        ok = tr_fail(err, TR_NO_MEASURE,
                     "nothing says where the frame of %s is: its file gives the place of no mark "
                     "that was measured; name marks with --align",
                     sheet_id(v, sheet));
    }
    free(known);
    free(at);
    return ok;
}

/* ---- the print's scale ---- */

static bool print_scale(tr_survey_network *w, int sheet, double factor, tr_error *err) {
    tr_survey *v = w->survey;
    tr_survey_sheet *s = &v->sheets[sheet];
    frame f;
    tr_datum d;
    bool ok = false;
    double inverse[25];
    double *G = NULL;
    s->has_scale = false;
    if (!gather(w, sheet, factor, &f, err)) goto out;
    int n_known = 0;
    for (int a = 0; a < f.n; a++) n_known += v->marks[f.mark[a]].has_nominal;
    ok = true;
    if (n_known < 2) goto out;
    ok = default_datum(w, sheet, &f, &d, err);
    if (!ok || d.n_scales == 0) goto out;
    ok = turn_axes(&f, d.theta_rad, err);
    G = tr_table(5, f.n_rows, sizeof *G);
    if (ok && !G) ok = tr_fail_memory(err);
    if (!ok || !(ok = sensitivity_of_rows(&f, &d, G, inverse, err))) goto out;
    s->has_scale = true;
    for (int k = 0; k < 2; k++) {
        const double *g = G + (3 + k) * f.n_rows;
        double variance = d.rms_mm * d.rms_mm * inverse[(3 + k) * 6];
        for (int i = 0; i < f.n_rows; i++) {
            for (int j = 0; j < f.n_rows; j++) variance += g[i] * g[j] * f.C[i * f.n_rows + j];
        }
        s->scale[k] = d.scale[k];
        s->scale_u95[k] = TR_COVERAGE_FACTOR * sqrt(fmax(0, variance));
    }
    for (int a = 0; a < f.n; a++) {
        w->is_printed[f.mark[a]] =
            v->marks[f.mark[a]].has_nominal && f.data[a].weight > PRINTED_WEIGHT;
    }
    w->printed_rms_mm = fmax(w->printed_rms_mm, d.rms_mm);
out:
    free(G);
    release_frame(&f);
    return ok;
}

/* ---- results ---- */

/* Relative sd of the sheet's size: of the factor that fits all its places best. */
static double scale_sd(const frame *f, const tr_datum *d) {
    tr_vec2 mean = {0, 0};
    double size = 0;
    double variance = 0;
    if (f->n < 2) return INFINITY;
    for (int a = 0; a < f->n; a++) {
        mean = tr_v2_add(mean, tr_v2_scale(1.0 / f->n, tr_datum_apply(d, f->data[a].measured_mm)));
    }
    for (int a = 0; a < f->n; a++) {
        tr_vec2 p = tr_v2_sub(tr_datum_apply(d, f->data[a].measured_mm), mean);
        size += tr_v2_dot(p, p);
        for (int b = 0; b < f->n; b++) {
            tr_vec2 q = tr_v2_sub(tr_datum_apply(d, f->data[b].measured_mm), mean);
            const double *C = f->C + f->row[a] * f->n_rows + f->row[b];
            variance += p.x * (C[0] * q.x + C[1] * q.y) +
                        p.y * (C[f->n_rows] * q.x + C[f->n_rows + 1] * q.y);
        }
    }
    return size > 0 ? sqrt(fmax(0, variance)) / size : INFINITY;
}

static void fill_mark(const tr_survey_network *w, const frame *f, const tr_datum *d, int a,
                      tr_survey_mark *m) {
    int i = f->mark[a];
    const double *value = w->net.offsets[i].value;
    const tr_tag *base = &w->base[i];
    double sd[TR_TAG_N];
    for (int k = 0; k < rows_of_mark(m); k++) {
        sd[k] = sqrt(fmax(0, f->C[(f->row[a] + k) * (f->n_rows + 1)]));
    }
    m->is_measured = true;
    m->is_datum = f->data[a].weight > 0;
    m->at_mm = tr_datum_apply(d, f->data[a].measured_mm);
    m->u95_mm[0] = TR_COVERAGE_FACTOR * sd[0];
    m->u95_mm[1] = TR_COVERAGE_FACTOR * sd[1];
    if (!m->name.is_tag) return;
    m->turn_rad = tr_wrap_rad(base->turn_rad + value[TR_OFFSET_TURN] - d->theta_rad);
    double scale = 1 + value[TR_OFFSET_SCALE];
    m->edges_mm[0] = tr_tag_width(base) * (scale + value[TR_OFFSET_DIFFERENTIAL_SCALE]);
    m->edges_mm[1] = tr_tag_height(base) * (scale - value[TR_OFFSET_DIFFERENTIAL_SCALE]);
    m->u95_turn_rad = TR_COVERAGE_FACTOR * sd[TR_TAG_TURN];
    m->u95_edges_mm[0] = TR_COVERAGE_FACTOR * sd[TR_TAG_WIDTH];
    m->u95_edges_mm[1] = TR_COVERAGE_FACTOR * sd[TR_TAG_HEIGHT];
}

static double round_to(double x, double step) {
    return step * round(x / step);
}

/* The face reaches to the furthest mark, where the print came out larger. */
static void widen_face(tr_sheet *s, tr_vec2 p) {
    s->width_mm = fmax(s->width_mm, 2 * ceil(fabs(p.x)));
    s->height_mm = fmax(s->height_mm, 2 * ceil(fabs(p.y)));
}

/* The new sheet, rounded as its file is, so that both are the same. */
static bool make_sheet(tr_survey *v, int sheet, frame *f, tr_error *err) {
    const tr_sheet *nominal = &v->spec->sheets[sheet];
    tr_survey_sheet *s = &v->sheets[sheet];
    tr_sheet *out = &s->measured;
    *out = (tr_sheet){
        .kind = nominal->kind, .width_mm = nominal->width_mm, .height_mm = nominal->height_mm};
    memcpy(out->id, nominal->id, sizeof out->id);
    memcpy(out->title, nominal->title, sizeof out->title);
    memcpy(out->tag_family, nominal->tag_family, sizeof out->tag_family);
    memcpy(out->survey.id, v->spec->id, sizeof out->survey.id);
    out->path = strdup(v->spec->path ? v->spec->path : "");
    out->tags = tr_array(f->n, sizeof *out->tags);
    out->corners_mm = tr_array(f->n, sizeof *out->corners_mm);
    if (!out->path || !out->tags || !out->corners_mm) return tr_fail_memory(err);
    for (int a = 0; a < f->n; a++) {
        const tr_survey_mark *m = &v->marks[f->mark[a]];
        tr_vec2 at = tr_v2(round_to(m->at_mm.x, 1e-4), round_to(m->at_mm.y, 1e-4));
        if (!m->name.is_tag) {
            out->corners_mm[out->n_corners++] = at;
            widen_face(out, at);
            continue;
        }
        const tr_stuck_tag *stuck = tr_survey_stuck(v->spec, sheet, m->name.index);
        tr_tag *tag = &out->tags[out->n_tags++];
        *tag = (tr_tag){.id = stuck ? stuck->id : nominal->tags[m->name.index].id,
                        .centre_mm = at,
                        .turn_rad = round_to(m->turn_rad * TR_DEG_PER_RAD, 1e-6) * TR_RAD_PER_DEG};
        for (int k = 0; k < 2; k++) tag->edges_mm[k] = round_to(m->edges_mm[k], 1e-4);
        tag->size_mm = round_to((tag->edges_mm[0] + tag->edges_mm[1]) / 2, 1e-4);
        for (int c = 0; c < 4; c++) widen_face(out, tr_tag_corner(tag, c));
    }
    for (int i = 0; i < v->n_lengths && out->survey.n_lengths < TR_SHEET_MAX_LENGTHS; i++) {
        if (!v->lengths[i].is_used) continue;
        memcpy(out->survey.lengths[out->survey.n_lengths++], v->lengths[i].id,
               sizeof v->lengths[i].id);
    }
    out->survey.n_rows = f->n_rows;
    out->survey.covariance = f->C; /* it changes its owner */
    f->C = NULL;
    return true;
}

static bool measure_sheet(tr_survey_network *w, tr_survey_align align, int sheet, double factor,
                          tr_error *err) {
    tr_survey *v = w->survey;
    tr_survey_sheet *s = &v->sheets[sheet];
    frame f;
    bool ok = false;
    double *G = NULL;
    tr_sheet_release(&s->measured);
    s->is_aligned = false;
    for (int i = 0; i < align.n; i++) s->is_aligned |= align.marks[i].sheet == sheet;
    if (!gather(w, sheet, factor, &f, err)) goto out;
    if (!(s->is_aligned ? align_datum(w, align, sheet, &f, &s->datum, err)
                        : default_datum(w, sheet, &f, &s->datum, err))) {
        goto out;
    }
    G = tr_table(5, f.n_rows, sizeof *G);
    if (!G) {
        tr_fail_memory(err);
        goto out;
    }
    if (!turn_axes(&f, s->datum.theta_rad, err)) goto out;
    int lone = 0;
    if (is_lone(&f, v, &lone)) {
        tr_vec2 p = tr_datum_apply(&s->datum, f.data[lone].measured_mm);
        double *x = G + f.row[lone];
        double *y = x + f.n_rows;
        double *turn = y + f.n_rows;
        x[TR_TAG_X] = y[TR_TAG_Y] = turn[TR_TAG_TURN] = 1;
        x[TR_TAG_TURN] = p.y;
        y[TR_TAG_TURN] = -p.x;
    } else if (!sensitivity_of_rows(&f, &s->datum, G, NULL, err)) {
        goto out;
    }
    if (!transform_to_datum(&f, &s->datum, G, err)) goto out;
    for (int a = 0; a < f.n; a++) fill_mark(w, &f, &s->datum, a, &v->marks[f.mark[a]]);
    v->scale_sd = fmin(v->scale_sd, scale_sd(&f, &s->datum));
    ok = make_sheet(v, sheet, &f, err);
out:
    free(G);
    release_frame(&f);
    return ok;
}

static bool measure_flatness(tr_survey_network *w, int sheet, double factor, tr_error *err) {
    tr_survey *v = w->survey;
    tr_survey_sheet *s = &v->sheets[sheet];
    int n = 0;
    bool ok = false;
    tr_vec2 *p = tr_array(s->n_marks, sizeof *p);
    double *z = tr_array(s->n_marks, sizeof *z);
    double *C = tr_table(s->n_marks, s->n_marks, sizeof *C);
    int *column = tr_array(s->n_marks, sizeof *column);
    if (!p || !z || !C || !column) {
        tr_fail_memory(err);
        goto out;
    }
    for (int i = s->first_mark; i < s->first_mark + s->n_marks; i++) {
        if (!v->marks[i].is_measured) continue;
        p[n] = v->marks[i].at_mm;
        z[n] = w->net.offsets[i].value[TR_OFFSET_Z];
        column[n++] = tr_survey_column(w, i) + TR_OFFSET_Z;
    }
    for (int a = 0; a < n; a++) {
        for (int b = 0; b < n; b++) {
            C[a * n + b] = w->covariance[column[a] * w->n_unknowns + column[b]];
        }
    }
    s->condition = (tr_sheet_condition){0};
    ok = tr_flatness_of(p, z, C, n, factor, &s->condition, err);
out:
    free(p);
    free(z);
    free(C);
    free(column);
    return ok;
}

/* ---- lengths ---- */

/* d(length) / d(unknowns): the unit vector along it, in the frames that the unknowns count in. */
static double length_gradient(const tr_survey_network *w, int i, double *g) {
    const tr_survey *v = w->survey;
    const tr_net_length *l = &w->net.lengths[i];
    tr_vec3 end[2];
    memset(g, 0, (size_t)w->n_unknowns * sizeof *g);
    for (int k = 0; k < 2; k++) {
        end[k] = tr_network_point(&w->net, l->sheet[k], l->offset[k], l->p_sheet_mm[k]);
    }
    tr_vec3 d = tr_v3_sub(end[1], end[0]);
    double length = tr_v3_norm(d);
    for (int k = 0; k < 2; k++) {
        int mark = w->ends[2 * i + k];
        tr_vec3 u = tr_v3_scale((k ? 1 : -1) / length, d);
        if (mark < v->n_marks) {
            u = tr_m3_apply(tr_m3_transpose(w->net.sheets[l->sheet[k]].world_from_sheet.R), u);
        }
        double *at = g + tr_survey_column(w, mark);
        at[0] += u.x;
        at[1] += u.y;
        at[2] += u.z;
    }
    return length;
}

static bool compare_lengths(tr_survey_network *w, double factor, tr_error *err) {
    tr_survey *v = w->survey;
    double *g = tr_array(w->n_unknowns, sizeof *g);
    int n_used = 0;
    if (!g) return tr_fail_memory(err);
    for (int i = 0; i < v->n_lengths; i++) n_used += v->lengths[i].is_used;
    for (int i = 0; i < v->n_lengths; i++) {
        tr_survey_length *l = &v->lengths[i];
        const tr_net_length *n = &w->net.lengths[i];
        l->w = l->measured_mm = l->by_others_mm = 0;
        l->stated_mm = n->length_mm;
        l->sd_mm = n->sd_mm;
        if (!l->is_used) continue;
        l->measured_mm = length_gradient(w, i, g);
        double variance = n->sd_mm * n->sd_mm;
        for (int a = 0; a < w->n_unknowns; a++) {
            if (g[a] == 0.0) continue;
            for (int b = 0; b < w->n_unknowns; b++) {
                variance -= g[a] * g[b] * w->covariance[a * w->n_unknowns + b];
            }
        }
        /* What is left of the variance is what the other lengths say. */
        bool is_checked = n_used > 1 && variance > 1e-6 * n->sd_mm * n->sd_mm;
        if (!is_checked) continue;
        double off_mm = l->measured_mm - l->stated_mm;
        l->w = off_mm / sqrt(variance * factor);
        l->by_others_mm = l->stated_mm + off_mm * n->sd_mm * n->sd_mm / variance;
    }
    free(g);
    return true;
}

/* With two lengths nothing tells which is wrong; with more the one that is furthest off. */
static bool judge_lengths(const tr_survey *v, tr_error *err) {
    int worst = -1;
    int n_used = 0;
    for (int i = 0; i < v->n_lengths; i++) {
        if (!v->lengths[i].is_used) continue;
        n_used++;
        if (worst < 0 || fabs(v->lengths[i].w) > fabs(v->lengths[worst].w)) worst = i;
    }
    if (worst < 0 || !(fabs(v->lengths[worst].w) > CRITICAL_W)) return true;
    const tr_survey_length *l = &v->lengths[worst];
    if (n_used > 2) {
        return tr_fail(err, TR_NO_MEASURE,
                       "the known lengths contradict each other: %s is stated as %.2f mm, but is "
                       "%.2f mm by the others (%+.2f %%, %.0f times what chance allows); measure "
                       "it again or leave it out",
                       l->title, l->stated_mm, l->by_others_mm,
                       100 * (l->by_others_mm / l->stated_mm - 1), fabs(l->w) / TR_COVERAGE_FACTOR);
    }
    double excess = l->stated_mm / l->measured_mm - 1;
    const tr_survey_length *o = NULL;
    for (int i = 0; i < v->n_lengths; i++) {
        if (v->lengths[i].is_used && i != worst) o = &v->lengths[i];
    }
    double other = o ? o->stated_mm / o->measured_mm - 1 : 0;
    double off_mm = fabs(excess - other) * l->measured_mm;
    double times = fabs(l->w) / TR_COVERAGE_FACTOR;
    return excess > other
               ? tr_fail(err, TR_NO_MEASURE,
                         "the known lengths contradict each other: against %s, %s is stated too "
                         "long by %.2f %% (%.2f mm on %.0f mm, %.0f times what chance allows); one "
                         "of them is wrong: measure both again, or leave the wrong one out",
                         o ? o->title : "", l->title, 100 * fabs(excess - other), off_mm,
                         l->measured_mm, times)
               : tr_fail(
                     err, TR_NO_MEASURE,
                     "the known lengths contradict each other: against %s, %s is stated too "
                     "short by %.2f %% (%.2f mm on %.0f mm, %.0f times what chance allows); one "
                     "of them is wrong: measure both again, or leave the wrong one out",
                     o ? o->title : "", l->title, 100 * fabs(excess - other), off_mm,
                     l->measured_mm, times);
}

/* ---- what a person should know ---- */

static bool note_marks_of(tr_survey *v, int sheet, tr_error *err) {
    char *titles = NULL;
    bool ok = true;
    for (int k = 0; k < v->sheets[sheet].n_marks && ok; k++) {
        const tr_survey_mark *m = &v->marks[v->sheets[sheet].first_mark + k];
        char title[32];
        if (m->is_measured) continue;
        tr_survey_mark_title(v->spec, m->name, title, sizeof title);
        ok = tr_items_add(&titles, title, err);
    }
    ok = ok &&
         (!titles || tr_note(MARKS_NOT_MEASURED, &v->findings, err, sheet_id(v, sheet), titles));
    free(titles);
    return ok;
}

static bool note_marks(tr_survey *v, tr_error *err) {
    for (int s = 0; s < v->spec->n_sheets; s++) {
        if (!note_marks_of(v, s, err)) return false;
    }
    return true;
}

static bool note_uncertain(tr_survey *v, tr_error *err) {
    for (int i = 0; i < v->n_marks; i++) {
        const tr_survey_mark *m = &v->marks[i];
        char title[32];
        if (!m->is_measured || fmax(m->u95_mm[0], m->u95_mm[1]) <= WEAK_U95_MM) continue;
        tr_survey_mark_title(v->spec, m->name, title, sizeof title);
        const char *id = sheet_id(v, m->name.sheet);
        double u95_mm = fmax(m->u95_mm[0], m->u95_mm[1]);
        bool ok = v->scale_sd > WEAK_SCALE_SD
                      ? tr_note(MARK_AND_SCALE_UNCERTAIN, &v->findings, err, title, id, u95_mm)
                      : tr_note(MARK_UNCERTAIN, &v->findings, err, title, id, u95_mm);
        if (!ok) return false;
    }
    return true;
}

/* The stated size carries no scale, so that nothing is wrong but the statement; or the tag. */
static bool note_stuck(tr_survey *v, tr_error *err) {
    for (int i = 0; i < v->n_marks; i++) {
        const tr_survey_mark *m = &v->marks[i];
        const tr_stuck_tag *stuck =
            m->name.is_tag ? tr_survey_stuck(v->spec, m->name.sheet, m->name.index) : NULL;
        if (!stuck || !m->is_measured) continue;
        double edge_mm = (m->edges_mm[0] + m->edges_mm[1]) / 2;
        double u95_mm = fmax(m->u95_edges_mm[0], m->u95_edges_mm[1]);
        if (fabs(edge_mm - stuck->size_mm) <= OTHER_SIZE_PART * stuck->size_mm + u95_mm) continue;
        if (!tr_note(STUCK_TAG_SIZE, &v->findings, err, stuck->id, sheet_id(v, m->name.sheet),
                     stuck->size_mm, edge_mm)) {
            return false;
        }
    }
    return true;
}

static bool note_sheets(tr_survey *v, tr_error *err) {
    for (int s = 0; s < v->spec->n_sheets; s++) {
        const tr_survey_sheet *sheet = &v->sheets[s];
        const tr_sheet_condition *c = &sheet->condition;
        if (c->has_flatness && c->flatness_mm - c->flatness_u95_mm > NOT_FLAT_MM &&
            !tr_note(SURVEYED_SHEET_NOT_FLAT, &v->findings, err, sheet_id(v, s), c->flatness_mm,
                     c->flatness_u95_mm, c->highest_mm.x, c->highest_mm.y)) {
            return false;
        }
        if (sheet->is_aligned && sheet->datum.rms_mm > ALIGN_RMS_MM &&
            !tr_note(ALIGN_DOES_NOT_FIT, &v->findings, err, sheet_id(v, s), sheet->datum.rms_mm)) {
            return false;
        }
    }
    return true;
}

static bool note_not_used(tr_survey *v, const tr_survey_length *l, tr_error *err) {
    static const char *const AXES[] = {"x", "y"};
    if (l->bar >= 0) return tr_note(BAR_NOT_USED, &v->findings, err, l->id);
    return tr_note(RULE_NOT_USED, &v->findings, err, sheet_id(v, l->sheet), AXES[l->axis]);
}

static bool note_lengths(tr_survey *v, tr_error *err) {
    int n_used = 0;
    for (int i = 0; i < v->n_lengths; i++) {
        const tr_survey_length *l = &v->lengths[i];
        n_used += l->is_used;
        if (!l->is_used && !note_not_used(v, l, err)) {
            return false;
        }
    }
    if (v->scale_sd > WEAK_SCALE_SD &&
        !tr_note(SCALE_UNCERTAIN, &v->findings, err, TR_COVERAGE_FACTOR * 1000 * v->scale_sd)) {
        return false;
    }
    return n_used > 1 || tr_note(ONE_LENGTH, &v->findings, err);
}

static bool note_fit(tr_survey *v, tr_error *err) {
    if (v->n_used < GOOD_PHOTOS && !tr_note(SURVEY_FEW_PHOTOS, &v->findings, err, v->n_used)) {
        return false;
    }
    if (v->variance_factor > TR_SUSPECT_VARIANCE &&
        !tr_note(MARKS_SCATTER, &v->findings, err, v->variance_factor)) {
        return false;
    }
    if (v->n_rejected > 0 && !tr_note(SIGHTINGS_LEFT_OUT, &v->findings, err, v->n_rejected)) {
        return false;
    }
    return tr_photo_set_note_exact_lenses(&v->set, &v->findings, err);
}

/* ---- all of it ---- */

static bool fill_photos(tr_survey_network *w, tr_error *err) {
    tr_survey *v = w->survey;
    const tr_network *net = &w->net;
    if (!tr_photo_set_count(&v->set, net, w->is_placed, true, err)) return false;
    v->n_used = v->n_rejected = 0;
    for (int i = 0; i < v->set.n_photos; i++) v->n_used += v->set.photos[i].is_used;
    for (int i = 0; i < v->n_marks; i++) v->marks[i].n_photos = 0;
    for (int k = 0; k < net->n_observations; k++) {
        const tr_net_obs *o = &net->observations[k];
        if (!w->is_placed[k] || !tr_network_residual(net, k, NULL, NULL)) continue;
        if (!o->is_used) v->n_rejected++;
        if (o->is_used && o->mark < v->n_marks) v->marks[o->mark].n_photos++;
    }
    return true;
}

/* Sheets, or photos, that are not there. */
static bool refuse_weak(const tr_survey_network *w, tr_error *err) {
    const tr_survey *v = w->survey;
    for (int s = 0; s < v->spec->n_sheets; s++) {
        bool is_seen = false;
        for (int k = 0; k < v->sheets[s].n_marks; k++) {
            is_seen |= w->is_seen[v->sheets[s].first_mark + k];
        }
        if (is_seen) continue;
        return tr_fail(err, TR_NO_MEASURE,
                       "no mark of %s was measured in two photos that are joined with the "
                       "others; take photos that show it together with the other marks",
                       sheet_id(v, s));
    }
    if (v->n_used >= MIN_PHOTOS) return true;
    return tr_fail(err, TR_NO_MEASURE,
                   "only %d of %d photos could be used; a survey needs at least %d, and five or "
                   "more from all sides are better",
                   v->n_used, v->set.n_photos, MIN_PHOTOS);
}

static int readable_photos(const tr_survey *v) {
    int n = 0;
    for (int i = 0; i < v->set.n_photos; i++) n += v->set.photos[i].is_readable;
    return n;
}

/* Rules hold between printed marks, and which marks lie where the print has them is told by the
   scale of the print: twice round is enough. */
static bool solve_network(tr_survey_network *w, tr_error *err) {
    for (int round = 0; round < 3; round++) {
        if (!tr_survey_network_solve(w, err)) return false;
        double factor = fmax(1, w->result.variance_factor);
        w->printed_rms_mm = 0;
        for (int s = 0; s < w->survey->spec->n_sheets; s++) {
            if (!print_scale(w, s, factor, err)) return false;
        }
        if (!tr_survey_choose_rules(w)) break;
    }
    return true;
}

bool tr_survey_solve(tr_survey *v, tr_survey_align align, tr_error *err) {
    tr_survey_network w = {0};
    bool ok = false;
    v->is_solved = false;
    v->scale_sd = INFINITY;
    if (!tr_photo_set_sort(&v->set, err)) return false;
    for (int i = 0; i < v->set.n_photos; i++) v->set.photos[i].is_used = false;
    if (readable_photos(v) < MIN_PHOTOS) {
        return tr_fail(err, TR_NO_MEASURE,
                       "only %d of %d photos can be used; a survey needs at least %d, and five or "
                       "more from all sides are better",
                       readable_photos(v), v->set.n_photos, MIN_PHOTOS);
    }
    if (!tr_survey_network_make(v, &w, err) || !solve_network(&w, err)) goto out;
    double factor = fmax(1, w.result.variance_factor);
    if (!fill_photos(&w, err)) goto out;
    v->variance_factor = tr_network_variance_of_all(&w.net, &w.result, w.is_placed);
    v->degrees_of_freedom = w.result.degrees_of_freedom;
    if (!refuse_weak(&w, err)) goto out;
    if (w.photos_variance > TR_BLOCK_VARIANCE) {
        tr_fail(err, TR_NO_MEASURE,
                "the photos contradict each other (the marks scatter %.1f times more, in variance, "
                "than they can): something moved between the photos, the sheet was bent, or the "
                "lens profile is another camera's; put that right and take the photos again",
                w.photos_variance);
        goto out;
    }
    if (!compare_lengths(&w, fmax(1, w.photos_variance), err) || !judge_lengths(v, err)) goto out;
    for (int i = 0; i < v->n_marks; i++) v->marks[i].is_measured = false;
    for (int s = 0; s < v->spec->n_sheets; s++) {
        if (!measure_sheet(&w, align, s, factor, err) || !measure_flatness(&w, s, factor, err)) {
            goto out;
        }
    }
    for (int s = 0; s < v->spec->n_sheets; s++) {
        v->sheets[s].measured.survey.scale_sd = isfinite(v->scale_sd) ? v->scale_sd : 0;
    }
    if (!note_fit(v, err) || !note_marks(v, err) || !note_uncertain(v, err) ||
        !note_stuck(v, err) || !note_sheets(v, err) || !note_lengths(v, err)) {
        goto out;
    }
    ok = v->is_solved = true;
out:
    tr_survey_network_release(&w);
    return ok;
}
