#include "marks/checker.h"

#include <string.h>

#include "lens/planar.h"
#include "marks/lanes.h"

/* The window: this part of a square along each edge, and never further than this from the corner.
   Beyond the blur's reach pixels only tell black from white. */
static const double WINDOW_PART = 0.45;
enum { WINDOW_MAX_PX = 6 };
/* A square lower than this in the image leaves no room between its edges. */
static const double MIN_SQUARE_PX = 3.5;

static const double MIN_CONTRAST = 6.0; /* grey values; noise of phones in poor light is 2 to 4 */
static const double MIN_CORRELATION = 0.6;
/* The fit's rms as part of the contrast: clean corners reach 0.02 to 0.05, blotches 0.3. */
static const double MAX_RMS_PART = 0.15;
static const double MAX_SD_PX = 0.5;
static const double MIN_SIGMA_PX = 0.3; /* a pixel's own box is 0.29 */

enum { U, V, TURN_X, TURN_Y, SIGMA, MEAN, CONTRAST, BLEED, GRADIENT_U, GRADIENT_V, N_PARAM };

typedef struct {
    const tr_image *image;
    tr_vec2 along_x, along_y; /* of one square, px */
    double inverse[4];        /* pixel to squares */
    double radius_px;
    double angle_x, angle_y; /* of the edges at the start */
} window;

static bool make_window(window *w, const tr_image *image, tr_vec2 along_x, tr_vec2 along_y) {
    double det = tr_v2_cross(along_x, along_y);
    double nx = tr_v2_norm(along_x);
    double ny = tr_v2_norm(along_y);
    /* Height of the square over either edge. */
    double height = fabs(det) / fmax(nx, ny);
    if (!(height >= MIN_SQUARE_PX)) return false;
    *w = (window){.image = image,
                  .along_x = along_x,
                  .along_y = along_y,
                  .inverse = {along_y.y / det, -along_y.x / det, -along_x.y / det, along_x.x / det},
                  .radius_px = WINDOW_MAX_PX,
                  .angle_x = atan2(along_x.y, along_x.x),
                  .angle_y = atan2(along_y.y, along_y.x)};
    return true;
}

/* Smooth weight of a pixel at q from the corner: 1 inside, 0 outside, so that no pixel on the rim
   decides by being in or out. */
static double weight(const window *w, tr_vec2 q) {
    double a = fabs(w->inverse[0] * q.x + w->inverse[1] * q.y) / WINDOW_PART;
    double b = fabs(w->inverse[2] * q.x + w->inverse[3] * q.y) / WINDOW_PART;
    double r = tr_v2_norm(q) / w->radius_px;
    double t = fmax(fmax(a, b), r);
    double linear = 3 * (1 - t);
    return linear <= 0 ? 0 : linear >= 1 ? 1 : linear;
}

static bool is_inside(const tr_image *image, tr_vec2 c, double margin) {
    return c.x >= margin && c.y >= margin && c.x <= image->width - 1 - margin &&
           c.y <= image->height - 1 - margin;
}

/* The pixels of the window about a corner; whole lanes. */
enum { MAX_REACH_PX = WINDOW_MAX_PX + 1, MAX_PIXELS = 232 };
_Static_assert(MAX_PIXELS >= (2 * MAX_REACH_PX + 1) * (2 * MAX_REACH_PX + 1), "the window fits");
_Static_assert(MAX_PIXELS % TR_LANES == 0, "in whole lanes");

/* The sign pattern of a checker corner on whole pixels about it. */
typedef struct {
    int n;
    int du[MAX_PIXELS], dv[MAX_PIXELS];
    float weight[MAX_PIXELS];
    float weighted_sign[MAX_PIXELS];
    double sum_w, sum_wp, sum_wpp;
} sign_pattern;

static void make_pattern(const window *w, sign_pattern *s) {
    int reach = (int)ceil(w->radius_px);
    s->n = 0;
    s->sum_w = s->sum_wp = s->sum_wpp = 0;
    for (int dv = -reach; dv <= reach; dv++) {
        for (int du = -reach; du <= reach; du++) {
            tr_vec2 q = tr_v2(du, dv);
            double k = weight(w, q);
            if (k <= 0) continue;
            double a = w->inverse[0] * q.x + w->inverse[1] * q.y;
            double b = w->inverse[2] * q.x + w->inverse[3] * q.y;
            double p = a * b > 0 ? 1 : a * b < 0 ? -1 : 0;
            s->du[s->n] = du;
            s->dv[s->n] = dv;
            s->weight[s->n] = (float)k;
            s->weighted_sign[s->n++] = (float)(k * p);
            s->sum_w += k;
            s->sum_wp += k * p;
            s->sum_wpp += k * p * p;
        }
    }
    (void)tr_fill_lanes(s->weight, s->n);
    (void)tr_fill_lanes(s->weighted_sign, s->n);
}

/* Correlation of the image about a whole pixel with the pattern. */
static double correlation(const tr_image *image, const sign_pattern *s, int cu, int cv) {
    float grey[MAX_PIXELS];
    float squared[MAX_PIXELS];
    for (int i = 0; i < s->n; i++) {
        /* About the middle of the scale, to lose nothing to rounding. */
        grey[i] = (float)(tr_image_row(image, cv + s->dv[i])[cu + s->du[i]] - 128);
    }
    int n = tr_fill_lanes(grey, s->n);
    for (int i = 0; i < n; i++) squared[i] = grey[i] * grey[i];
    double si = tr_sum_of_products(s->weight, grey, n);
    double sii = tr_sum_of_products(s->weight, squared, n);
    double sip = tr_sum_of_products(s->weighted_sign, grey, n);
    double vi = sii - si * si / s->sum_w;
    double vp = s->sum_wpp - s->sum_wp * s->sum_wp / s->sum_w;
    if (!(vi > 1e-9) || !(vp > 1e-9)) return 0;
    /* Flat parts correlate with anything: noise of 1 grey value counts as much as the pattern. */
    return (sip - si * s->sum_wp / s->sum_w) / sqrt((vi + s->sum_w) * vp);
}

static bool search(const window *w, tr_vec2 start, double reach_px, tr_vec2 *found, double *score) {
    int reach = (int)ceil(reach_px);
    int u0 = (int)lround(start.x);
    int v0 = (int)lround(start.y);
    double best = 0;
    sign_pattern pattern;
    make_pattern(w, &pattern);
    for (int v = v0 - reach; v <= v0 + reach; v++) {
        for (int u = u0 - reach; u <= u0 + reach; u++) {
            if (!is_inside(w->image, tr_v2(u, v), w->radius_px + 1)) continue;
            double c = correlation(w->image, &pattern, u, v);
            if (fabs(c) > fabs(best)) {
                best = c;
                *found = tr_v2(u, v);
            }
        }
    }
    *score = best;
    return fabs(best) >= MIN_CORRELATION;
}

typedef struct {
    int n;
    float x[MAX_PIXELS], y[MAX_PIXELS]; /* from the corner */
    float root[MAX_PIXELS];             /* of the weight */
    float grey[MAX_PIXELS];
} pixels;

static void gather_pixels(const window *w, tr_vec2 corner, pixels *px) {
    int reach = (int)ceil(w->radius_px) + 1;
    int cu = (int)lround(corner.x);
    int cv = (int)lround(corner.y);
    px->n = 0;
    for (int v = cv - reach; v <= cv + reach; v++) {
        const uint8_t *row = tr_image_row(w->image, v);
        for (int u = cu - reach; u <= cu + reach; u++) {
            tr_vec2 q = tr_v2(u - corner.x, v - corner.y);
            double k = weight(w, q);
            if (k <= 0) continue;
            px->x[px->n] = (float)q.x;
            px->y[px->n] = (float)q.y;
            px->root[px->n] = (float)sqrt(k);
            px->grey[px->n++] = row[u];
        }
    }
}

/* Row by row the model's derivatives, and what it leaves of the grey values; pixel by pixel, times
   the root of the weight. */
enum { RESIDUAL = N_PARAM, N_ROWS };
typedef float model_rows[N_ROWS][MAX_PIXELS];

static void fill_rows(const window *w, const double p[N_PARAM], const pixels *px, model_rows row) {
    float tx = (float)(w->angle_x + p[TURN_X]);
    float ty = (float)(w->angle_y + p[TURN_Y]);
    float cos_x = cosf(tx);
    float sin_x = sinf(tx);
    float cos_y = cosf(ty);
    float sin_y = sinf(ty);
    float scale = (float)(1 / p[SIGMA]);
    float mean = (float)p[MEAN];
    float contrast = (float)p[CONTRAST];
    float bleed = (float)p[BLEED];
    float gradient_u = (float)p[GRADIENT_U];
    float gradient_v = (float)p[GRADIENT_V];
    for (int i = 0; i < px->n; i++) {
        float x = px->x[i];
        float y = px->y[i];
        float k = px->root[i];
        float zx = (cos_x * y - sin_x * x) * scale; /* from the edge along x, in sigmas */
        float zy = (cos_y * y - sin_y * x) * scale;
        float density_x;
        float density_y;
        float ex = 2 * tr_normal_below(zx, &density_x) - 1; /* erf(d / (sqrt(2) sigma)) */
        float ey = 2 * tr_normal_below(zy, &density_y) - 1;
        float s = ex * ey;
        float ds = k * (contrast - 2 * bleed * s);    /* of the value by s */
        float by_x = ds * 2 * density_x * scale * ey; /* by the distance from either edge */
        float by_y = ds * 2 * density_y * scale * ex;
        row[U][i] = by_x * sin_x + by_y * sin_y - k * gradient_u;
        row[V][i] = -by_x * cos_x - by_y * cos_y - k * gradient_v;
        row[TURN_X][i] = -by_x * (cos_x * x + sin_x * y);
        row[TURN_Y][i] = -by_y * (cos_y * x + sin_y * y);
        row[SIGMA][i] = -by_x * zx - by_y * zy;
        row[MEAN][i] = k;
        row[CONTRAST][i] = k * s;
        row[BLEED][i] = k * (1 - s * s); /* the tone curve's lift of the half-way values */
        row[GRADIENT_U][i] = k * x;
        row[GRADIENT_V][i] = k * y;
        row[RESIDUAL][i] = k * (px->grey[i] - mean - contrast * s - bleed * (1 - s * s) -
                                gradient_u * x - gradient_v * y);
    }
}

typedef struct {
    double A[N_PARAM * N_PARAM]; /* sum w J J' */
    double b[N_PARAM];
    double sum_w, sum_wrr;
} equations;

/* Normal equations with the window about the corner. */
static void assemble(const window *w, const double p[N_PARAM], equations *e) {
    pixels px;
    model_rows row;
    gather_pixels(w, tr_v2(p[U], p[V]), &px);
    fill_rows(w, p, &px, row);
    int n = 0;
    for (int i = 0; i < N_ROWS; i++) n = tr_fill_lanes(row[i], px.n);
    memset(e, 0, sizeof *e);
    for (int i = 0; i < N_PARAM; i++) {
        e->b[i] = tr_sum_of_products(row[i], row[RESIDUAL], n);
        for (int j = 0; j <= i; j++) {
            e->A[i * N_PARAM + j] = tr_sum_of_products(row[i], row[j], n);
        }
    }
    e->sum_w = e->A[MEAN * N_PARAM + MEAN];
    e->sum_wrr = tr_sum_of_products(row[RESIDUAL], row[RESIDUAL], n);
}

/* Starting values of mean and contrast at a whole pixel. */
static void start_values(const window *w, tr_vec2 at, double score, double p[N_PARAM]) {
    int reach = (int)ceil(w->radius_px);
    double sum[2] = {0, 0};
    double count[2] = {0, 0};
    for (int dv = -reach; dv <= reach; dv++) {
        const uint8_t *row = tr_image_row(w->image, (int)at.y + dv);
        for (int du = -reach; du <= reach; du++) {
            double k = weight(w, tr_v2(du, dv));
            double a = w->inverse[0] * du + w->inverse[1] * dv;
            double b = w->inverse[2] * du + w->inverse[3] * dv;
            int side = a * b > 0;
            sum[side] += k * row[(int)at.x + du];
            count[side] += k;
        }
    }
    double plus = sum[1] / fmax(count[1], 1e-9);
    double minus = sum[0] / fmax(count[0], 1e-9);
    memset(p, 0, N_PARAM * sizeof *p);
    p[U] = at.x;
    p[V] = at.y;
    p[SIGMA] = 0.9;
    p[MEAN] = (plus + minus) / 2;
    /* E(dx) E(dy) is positive where a and b have the sign of the axes' own orientation. */
    double orientation = tr_v2_cross(w->along_x, w->along_y) > 0 ? -1 : 1;
    p[CONTRAST] = orientation * (score > 0 ? 1 : -1) * fabs(plus - minus) / 2;
}

bool tr_checker_measure(const tr_image *image, tr_vec2 start_px, tr_vec2 along_x_px,
                        tr_vec2 along_y_px, double reach_px, tr_checker *out) {
    window w;
    tr_vec2 at = start_px;
    double score;
    double p[N_PARAM];
    if (!make_window(&w, image, along_x_px, along_y_px)) return false;
    double margin = w.radius_px + 2;
    if (!search(&w, start_px, reach_px, &at, &score) || !is_inside(image, at, margin)) return false;
    start_values(&w, at, score, p);
    equations e;
    bool settled = false;
    double step_limit = 1.0;
    for (int iteration = 0; iteration < 25 && !settled; iteration++) {
        double step[N_PARAM];
        double A[N_PARAM * N_PARAM];
        if (!is_inside(image, tr_v2(p[U], p[V]), margin)) return false;
        assemble(&w, p, &e);
        memcpy(A, e.A, sizeof A);
        memcpy(step, e.b, sizeof step);
        for (int i = 0; i < N_PARAM; i++) A[i * N_PARAM + i] *= 1 + 1e-3;
        if (!tr_solve_small(A, step, N_PARAM)) return false;
        double length = hypot(step[U], step[V]);
        double damp = length > step_limit ? step_limit / length : 1;
        damp = fmin(damp, 0.3 * p[SIGMA] / fmax(1e-12, fabs(step[SIGMA])));
        for (int i = 0; i < N_PARAM; i++) p[i] += damp * step[i];
        if (p[SIGMA] < MIN_SIGMA_PX) p[SIGMA] = MIN_SIGMA_PX;
        settled = length < 1e-4 && damp >= 1;
    }
    tr_vec2 corner = tr_v2(p[U], p[V]);
    if (!settled || !is_inside(image, corner, margin)) return false;
    if (tr_v2_norm(tr_v2_sub(corner, start_px)) > reach_px + 1) return false;
    /* Edges further turned than 20 degrees are other edges; a blur as wide as the window leaves
       nothing to see. */
    if (fabs(p[TURN_X]) > 0.35 || fabs(p[TURN_Y]) > 0.35 || p[SIGMA] > w.radius_px / 2)
        return false;
    assemble(&w, p, &e);
    double variance = e.sum_wrr / fmax(1, e.sum_w - N_PARAM);
    double contrast = fabs(p[CONTRAST]);
    if (!(contrast >= MIN_CONTRAST) || !(sqrt(variance) <= MAX_RMS_PART * contrast)) return false;
    /* Rounding to whole grey values alone leaves 1/12. */
    variance = fmax(variance, 1.0 / 12);
    double C[2][2];
    for (int k = 0; k < 2; k++) {
        double A[N_PARAM * N_PARAM];
        double unit[N_PARAM] = {0};
        unit[k] = 1;
        memcpy(A, e.A, sizeof A);
        if (!tr_solve_small(A, unit, N_PARAM)) return false;
        C[k][0] = unit[U];
        C[k][1] = unit[V];
    }
    out->uv_px = corner;
    for (int i = 0; i < 2; i++) {
        for (int j = 0; j < 2; j++) out->covariance[2 * i + j] = variance * (C[i][j] + C[j][i]) / 2;
    }
    if (!(out->covariance[0] < MAX_SD_PX * MAX_SD_PX) ||
        !(out->covariance[3] < MAX_SD_PX * MAX_SD_PX)) {
        return false;
    }
    out->sigma_px = p[SIGMA];
    out->contrast = contrast;
    out->rms = sqrt(variance);
    return true;
}
