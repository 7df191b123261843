#include "marks/checker.h"

#include <string.h>

#include "geom/dense.h"
#include "lens/planar.h"
#include "marks/lanes.h"

/* The window: this part of a square along each edge, and never further from the corner than some
   pixels, or some sigmas where the edges are blurred. Beyond the blur's reach pixels only tell
   black from white. */
static const double WINDOW_PART = 0.45;
enum { WINDOW_PX = 6, WINDOW_MAX_PX = 13 };
static const double WINDOW_SIGMAS = 4.5;
/* A square lower than this in the image leaves no room between its edges. */
static const double MIN_SQUARE_PX = 3.5;

static const double MIN_CONTRAST = 6.0; /* grey values; noise of phones in poor light is 2 to 4 */
static const double MIN_CORRELATION = 0.6;
/* The fit's rms as a part of the contrast. Of 2,993 corners in photos of two phones and two
   webcams, in frames of a video camera and in rendered photos (the sets of tests/test_board.c) the
   median has 0.07, 99 % have less than 0.17. A corner of which one square is covered by something
   grey has 0.2 and more, and of the noise in tests/test_checker.c some passes for corners at 0.4.
 */
static const double MAX_RMS_PART = 0.2;
/* Beyond a half the tone curve would turn back near black or near white. */
static const double MAX_BLEED_PART = 0.75;
static const double MAX_SD_PX = 0.5;
static const double MIN_SIGMA_PX = 0.3; /* a pixel's own box is 0.29 */
static const double START_SIGMA_PX = 0.9;

enum {
    U,
    V,
    TURN_X,
    TURN_Y,
    SIGMA_X, /* blur across the edge along x */
    SIGMA_Y,
    GROWTH,
    RIM,
    MEAN,
    CONTRAST,
    BLEED,
    GRADIENT_U,
    GRADIENT_V,
    N_PARAM
};
/* What is known beforehand: sd of growth (px), of the rim, and of the tone curve's bend as a part
   of the contrast; beside grey values that the model meets to PIXEL_SD_PART of the contrast. */
static const double GROWTH_SD_PX = 0.5;
static const double RIM_SD = 0.07;
static const double BLEED_SD_PART = 0.2;
static const double PIXEL_SD_PART = 0.05;

typedef struct {
    const tr_image *image;
    tr_vec2 along_x, along_y; /* of one square, px */
    double inverse[4];        /* pixel to squares */
    double radius_px;
    double room_px;          /* in the squares: no radius beyond it sees more */
    double angle_x, angle_y; /* of the edges at the start */
    double contrast;         /* about */
    int n_steps;
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
                  .radius_px = WINDOW_PX,
                  .room_px = WINDOW_PART * hypot(nx, ny),
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
enum { MAX_REACH_PX = WINDOW_MAX_PX + 1, MAX_PIXELS = 848 };
_Static_assert(MAX_PIXELS >= (2 * MAX_REACH_PX + 1) * (2 * MAX_REACH_PX + 1), "the window fits");
enum { SIDE = 2 * MAX_REACH_PX + 1 };
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

static bool search(const window *w, tr_vec2 start, double reach_px, tr_vec2 *found) {
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
    return fabs(best) >= MIN_CORRELATION;
}

typedef struct {
    int n;
    tr_vec2 origin;                     /* the window's centre */
    float x[MAX_PIXELS], y[MAX_PIXELS]; /* from it */
    float root[MAX_PIXELS];             /* of the weight */
    int place[MAX_PIXELS];              /* rows of SIDE pixels; rising */
    float grey[MAX_PIXELS];
} pixels;

static void gather_pixels(const window *w, tr_vec2 corner, pixels *px) {
    int reach = (int)ceil(w->radius_px) + 1;
    int cu = (int)lround(corner.x);
    int cv = (int)lround(corner.y);
    px->n = 0;
    px->origin = corner;
    for (int v = cv - reach; v <= cv + reach; v++) {
        const uint8_t *row = tr_image_row(w->image, v);
        for (int u = cu - reach; u <= cu + reach; u++) {
            tr_vec2 q = tr_v2(u - corner.x, v - corner.y);
            double k = weight(w, q);
            if (k <= 0) continue;
            px->x[px->n] = (float)q.x;
            px->y[px->n] = (float)q.y;
            px->root[px->n] = (float)sqrt(k);
            px->place[px->n] = (v - cv + MAX_REACH_PX) * SIDE + u - cu + MAX_REACH_PX;
            px->grey[px->n++] = row[u];
        }
    }
}

/* One side of an edge: how much of the pixel's blurred surroundings lies beyond it, what a rim
   adds, and the density. t in sigmas. The rim is the third term of the Gram-Charlier series: an
   edge spread that overshoots on both sides, as sharpening makes it. */
typedef struct {
    float beyond, density, by_rim;
} side;

static inline side side_at(float t, float rim) {
    side s;
    float density;
    float t2 = t * t;
    s.beyond = tr_normal_below(t, &density);
    s.by_rim = -t * (t2 - 3) * density;
    s.beyond += rim * s.by_rim;
    s.density = density * (1 + rim * (t2 * (t2 - 6) + 3));
    return s;
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
    float scale_x = (float)(1 / p[SIGMA_X]);
    float scale_y = (float)(1 / p[SIGMA_Y]);
    float mean = (float)p[MEAN];
    float contrast = (float)p[CONTRAST];
    float bleed = (float)p[BLEED];
    float rim = (float)p[RIM];
    float gradient_u = (float)p[GRADIENT_U];
    float gradient_v = (float)p[GRADIENT_V];
    /* Where the other two squares grow, the corner is looked at from the other side of one edge. */
    float flip = p[GROWTH] < 0 ? -1 : 1;
    float growth_x = (float)fabs(p[GROWTH]) * scale_x;
    float growth_y = (float)fabs(p[GROWTH]) * scale_y;
    float off_u = (float)(p[U] - px->origin.x);
    float off_v = (float)(p[V] - px->origin.y);
    for (int i = 0; i < px->n; i++) {
        float x = px->x[i] - off_u;
        float y = px->y[i] - off_v;
        float k = px->root[i];
        float zx = (cos_x * y - sin_x * x) * scale_x; /* from the edge along x, in sigmas */
        float zy = (cos_y * y - sin_y * x) * scale_y * flip;
        /* The two squares that do not grow: beyond the one edge and before the other. */
        float t1 = zx - growth_x;
        float t2 = -zy - growth_y;
        float t3 = -zx - growth_x;
        float t4 = zy - growth_y;
        side s1 = side_at(t1, rim);
        side s2 = side_at(t2, rim);
        side s3 = side_at(t3, rim);
        side s4 = side_at(t4, rim);
        float d1 = s1.density * s2.beyond;
        float d2 = s2.density * s1.beyond;
        float d3 = s3.density * s4.beyond;
        float d4 = s4.density * s3.beyond;
        float s = flip * (1 - 2 * (s1.beyond * s2.beyond + s3.beyond * s4.beyond));
        float ds = -2 * flip * k * (contrast - 2 * bleed * s); /* of the value by those squares */
        float by_x = ds * scale_x * (d1 - d3); /* by the distance from either edge */
        float by_y = ds * scale_y * flip * (d4 - d2);
        row[U][i] = by_x * sin_x + by_y * sin_y - k * gradient_u;
        row[V][i] = -by_x * cos_x - by_y * cos_y - k * gradient_v;
        row[TURN_X][i] = -by_x * (cos_x * x + sin_x * y);
        row[TURN_Y][i] = -by_y * (cos_y * x + sin_y * y);
        row[SIGMA_X][i] = -ds * scale_x * (t1 * d1 + t3 * d3);
        row[SIGMA_Y][i] = -ds * scale_y * (t2 * d2 + t4 * d4);
        row[GROWTH][i] = -ds * flip * (scale_x * (d1 + d3) + scale_y * (d2 + d4));
        row[RIM][i] = ds * (s1.by_rim * s2.beyond + s2.by_rim * s1.beyond + s3.by_rim * s4.beyond +
                            s4.by_rim * s3.beyond);
        row[MEAN][i] = k;
        row[CONTRAST][i] = k * s;
        row[BLEED][i] = k * (1 - s * s); /* the tone curve's lift of the half-way values */
        row[GRADIENT_U][i] = k * x;
        row[GRADIENT_V][i] = k * y;
        row[RESIDUAL][i] = k * (px->grey[i] - mean - contrast * s - bleed * (1 - s * s) -
                                gradient_u * x - gradient_v * y);
    }
}

/* Of neighbouring residuals: more would be a window of one pixel. */
static const double MAX_ALIKE = 0.4;

typedef struct {
    double A[N_PARAM * N_PARAM]; /* sum w J J', and what is known beforehand */
    double b[N_PARAM];
    double sum_w, sum_wrr;
    double cost;  /* sum_wrr and the priors' */
    double alike; /* see alike */
} equations;

/* By how much fewer pixels than there are tell of the residuals' variance. What the model leaves
   out is alike in neighbouring pixels, and so is the noise of a denoised photo: for a correlation r
   of neighbours, falling off as r^distance, (1 + r) / (1 - r) along either way. */
static double alike(const pixels *px, const float *residual) {
    float map[SIDE * SIDE] = {0};
    double square = 0;
    double product[2] = {0, 0};
    double factor = 1;
    for (int i = 0; i < px->n; i++) map[px->place[i]] = residual[i];
    for (int i = 0; i < px->n; i++) {
        double r = (double)residual[i];
        int at = px->place[i];
        square += r * r;
        if (at % SIDE + 1 < SIDE) product[0] += r * (double)map[at + 1];
        if (at / SIDE + 1 < SIDE) product[1] += r * (double)map[at + SIDE];
    }
    for (int k = 0; k < 2 && square > 0; k++) {
        double r = fmax(0, fmin(MAX_ALIKE, product[k] / square));
        factor *= (1 + r) / (1 - r);
    }
    return factor;
}

static void add_prior(equations *e, const double p[N_PARAM], int k, double sd, double pixel_sd) {
    double w = (pixel_sd / sd) * (pixel_sd / sd);
    e->A[k * N_PARAM + k] += w;
    e->b[k] -= w * p[k];
    e->cost += w * p[k] * p[k];
}

/* Normal equations, on the pixels as they were gathered. */
static void assemble(const window *w, const double p[N_PARAM], const pixels *px, equations *e) {
    model_rows row;
    fill_rows(w, p, px, row);
    int n = 0;
    for (int i = 0; i < N_ROWS; i++) n = tr_fill_lanes(row[i], px->n);
    memset(e, 0, sizeof *e);
    for (int i = 0; i < N_PARAM; i++) {
        e->b[i] = tr_sum_of_products(row[i], row[RESIDUAL], n);
        for (int j = 0; j <= i; j++) {
            e->A[i * N_PARAM + j] = tr_sum_of_products(row[i], row[j], n);
        }
    }
    e->sum_w = e->A[MEAN * N_PARAM + MEAN];
    e->alike = alike(px, row[RESIDUAL]);
    e->cost = e->sum_wrr = tr_sum_of_products(row[RESIDUAL], row[RESIDUAL], n);
    double pixel_sd = PIXEL_SD_PART * w->contrast;
    add_prior(e, p, GROWTH, GROWTH_SD_PX, pixel_sd);
    add_prior(e, p, RIM, RIM_SD, pixel_sd);
    add_prior(e, p, BLEED, BLEED_SD_PART * w->contrast, pixel_sd);
}

/* Starting values of mean and contrast at a whole pixel. */
static void start_values(window *w, tr_vec2 at, double sigma_px, double p[N_PARAM]) {
    int reach = (int)ceil(w->radius_px);
    double sum[2] = {0, 0};
    double count[2] = {0, 0};
    for (int dv = -reach; dv <= reach; dv++) {
        const uint8_t *row = tr_image_row(w->image, (int)at.y + dv);
        for (int du = -reach; du <= reach; du++) {
            double k = weight(w, tr_v2(du, dv));
            double a = w->inverse[0] * du + w->inverse[1] * dv;
            double b = w->inverse[2] * du + w->inverse[3] * dv;
            int is_plus = a * b > 0;
            sum[is_plus] += k * row[(int)at.x + du];
            count[is_plus] += k;
        }
    }
    double plus = sum[1] / fmax(count[1], 1e-9);
    double minus = sum[0] / fmax(count[0], 1e-9);
    memset(p, 0, N_PARAM * sizeof *p);
    p[U] = at.x;
    p[V] = at.y;
    p[SIGMA_X] = p[SIGMA_Y] = sigma_px;
    p[MEAN] = (plus + minus) / 2;
    /* E(d1) E(d2) is negative between the two axes, whichever hand they have. */
    p[CONTRAST] = (minus - plus) / 2;
    w->contrast = fmax(MIN_CONTRAST, fabs(p[CONTRAST]));
}

/* ---- the fit ---- */

/* Gauss-Newton with a step length, on fixed pixels: no step is taken that does not lower the cost.
   Where the model does not hold, full steps go too far, and would do so to either side for ever:
   the parabola through the cost and its slope before the step and the cost after it tells by how
   much.
 */
enum { MAX_STEPS = 30, MAX_REFUSED = 5 };
static const double DAMPING = 1e-4;
static const double MIN_PART = 0.1;

typedef enum { FIT_ENDED, FIT_LOST, FIT_UNSETTLED } fit_end;

/* A step of the corner and a reduction of the cost that end it. */
typedef struct {
    double px, reduction_part;
} still;

static bool solve_step(const equations *e, double step[N_PARAM], double *slope) {
    double A[N_PARAM * N_PARAM];
    memcpy(A, e->A, sizeof A);
    return tr_dense_damped_step(A, e->b, N_PARAM, DAMPING, step, slope);
}

/* How much of a step may be taken at all: a pixel, and half of either blur. */
static double longest_part(const double p[N_PARAM], const double step[N_PARAM]) {
    double part = fmin(1, 1 / fmax(1e-12, hypot(step[U], step[V])));
    for (int i = SIGMA_X; i <= SIGMA_Y; i++) {
        part = fmin(part, 0.5 * p[i] / fmax(1e-12, fabs(step[i])));
    }
    return part;
}

static fit_end descend(window *w, const pixels *px, still end, double p[N_PARAM], equations *e) {
    double part = 1;
    double step[N_PARAM];
    double slope;
    int n_refused = 0;
    assemble(w, p, px, e);
    if (!solve_step(e, step, &slope)) return FIT_LOST;
    for (int k = 0; k < MAX_STEPS; k++) {
        double next[N_PARAM];
        equations there;
        if (hypot(step[U], step[V]) < end.px && slope <= end.reduction_part * e->cost)
            return FIT_ENDED;
        double taken = fmin(part, longest_part(p, step));
        for (int i = 0; i < N_PARAM; i++) next[i] = p[i] + taken * step[i];
        next[SIGMA_X] = fmax(MIN_SIGMA_PX, next[SIGMA_X]);
        next[SIGMA_Y] = fmax(MIN_SIGMA_PX, next[SIGMA_Y]);
        if (fabs(next[U] - px->origin.x) > w->radius_px / 2 ||
            fabs(next[V] - px->origin.y) > w->radius_px / 2) {
            return FIT_LOST;
        }
        assemble(w, next, px, &there);
        w->n_steps++;
        double curvature = there.cost - e->cost + 2 * taken * slope;
        double best = taken * taken * slope / fmax(1e-30, curvature);
        if (there.cost < e->cost) {
            memcpy(p, next, sizeof next);
            *e = there;
            part = fmax(MIN_PART, fmin(1, best));
            n_refused = 0;
            if (!solve_step(e, step, &slope)) return FIT_LOST;
        } else {
            part = fmax(0.1 * taken, fmin(0.6 * taken, best));
            /* Single precision tells no smaller reduction. */
            if (++n_refused == MAX_REFUSED) {
                return hypot(step[U], step[V]) < 10 * end.px ? FIT_ENDED : FIT_UNSETTLED;
            }
        }
    }
    return FIT_UNSETTLED;
}

/* The window follows the corner until both are at the same place, so that it is symmetric about
   it. A model that does not hold lets the corner depend on the window a little: the secant's step
   meets both. */
enum { MAX_WINDOWS = 12 };
static const double CENTRED_PX = 5e-3;
static const still FIRST_STILL = {0.02, 0.03};
static const still LAST_STILL = {1e-3, 0.01};

static fit_end fit_corner(window *w, double p[N_PARAM], equations *e) {
    pixels px;
    tr_vec2 centre = tr_v2(p[U], p[V]);
    tr_vec2 last = {0, 0};
    double part = 1;
    for (int k = 0; k < MAX_WINDOWS; k++) {
        if (!is_inside(w->image, centre, w->radius_px + 2)) return FIT_LOST;
        gather_pixels(w, centre, &px);
        fit_end end = descend(w, &px, k == 0 ? FIRST_STILL : LAST_STILL, p, e);
        if (end != FIT_ENDED) return end;
        tr_vec2 off = tr_v2_sub(tr_v2(p[U], p[V]), centre);
        if (k > 0 && tr_v2_norm(off) < CENTRED_PX) return FIT_ENDED;
        if (k > 0) {
            tr_vec2 change = tr_v2_sub(last, off);
            double square = tr_v2_dot(change, change);
            part = square > 0 ? part * tr_v2_dot(last, change) / square : 1;
            part = fmax(0.25, fmin(2, part));
        }
        last = off;
        centre = tr_v2_add(centre, tr_v2_scale(part, off));
    }
    return FIT_UNSETTLED;
}

/* Half the width of the grey values about a place: where there is none there is nothing to see. */
static double spread(const tr_image *image, tr_vec2 at, double reach) {
    int u0 = (int)fmax(0, floor(at.x - reach));
    int u1 = (int)fmin(image->width - 1, ceil(at.x + reach));
    int v0 = (int)fmax(0, floor(at.y - reach));
    int v1 = (int)fmin(image->height - 1, ceil(at.y + reach));
    double n = 0;
    double sum = 0;
    double sum2 = 0;
    for (int v = v0; v <= v1; v++) {
        const uint8_t *row = tr_image_row(image, v);
        for (int u = u0; u <= u1; u++) {
            n++;
            sum += row[u];
            sum2 += (double)row[u] * row[u];
        }
    }
    return n > 0 ? sqrt(fmax(0, sum2 / n - sum * sum / (n * n))) : 0;
}

static bool fill_covariance(const equations *e, double variance, tr_checker *out) {
    double C[2][2];
    for (int k = 0; k < 2; k++) {
        double A[N_PARAM * N_PARAM];
        double unit[N_PARAM] = {0};
        unit[k] = 1;
        memcpy(A, e->A, sizeof A);
        if (!tr_dense_solve(A, unit, N_PARAM)) return false;
        C[k][0] = unit[U];
        C[k][1] = unit[V];
    }
    for (int i = 0; i < 2; i++) {
        for (int j = 0; j < 2; j++) out->covariance[2 * i + j] = variance * (C[i][j] + C[j][i]) / 2;
    }
    return out->covariance[0] < MAX_SD_PX * MAX_SD_PX && out->covariance[3] < MAX_SD_PX * MAX_SD_PX;
}

/* Whether any pixel is neither black nor white. In a picture of two levels the edges lie where the
   threshold had them, and no fit can tell how far off that is. */
static bool has_half_tones(const window *w, const double p[N_PARAM]) {
    int reach = (int)floor(w->radius_px);
    for (int dv = -reach; dv <= reach; dv++) {
        const uint8_t *row = tr_image_row(w->image, (int)lround(p[V]) + dv);
        for (int du = -reach; du <= reach; du++) {
            double grey = row[(int)lround(p[U]) + du];
            if (fabs(grey - p[MEAN]) < 0.6 * fabs(p[CONTRAST])) return true;
        }
    }
    return false;
}

static double blur(const double p[N_PARAM]) {
    return fmax(p[SIGMA_X], p[SIGMA_Y]);
}

/* In one window: search, then fit. */
static tr_checker_outcome measure_in(window *w, tr_vec2 start_px, double reach_px, double sigma_px,
                                     double p[N_PARAM], equations *e) {
    tr_vec2 at;
    double margin = w->radius_px + 2;
    if (!search(w, start_px, reach_px, &at)) {
        if (!is_inside(w->image, start_px, margin)) return TR_CHECKER_OFF_IMAGE;
        return spread(w->image, start_px, w->radius_px) < MIN_CONTRAST ? TR_CHECKER_FAINT
                                                                       : TR_CHECKER_NO_SADDLE;
    }
    if (!is_inside(w->image, at, margin)) return TR_CHECKER_OFF_IMAGE;
    start_values(w, at, sigma_px, p);
    fit_end end = fit_corner(w, p, e);
    if (end == FIT_UNSETTLED) return TR_CHECKER_UNSETTLED;
    if (end == FIT_LOST) return TR_CHECKER_UNLIKE;
    tr_vec2 corner = tr_v2(p[U], p[V]);
    if (tr_v2_norm(tr_v2_sub(corner, start_px)) > reach_px + 1) return TR_CHECKER_UNLIKE;
    /* Edges further turned than 20 degrees are other edges. */
    if (fabs(p[TURN_X]) > 0.35 || fabs(p[TURN_Y]) > 0.35) return TR_CHECKER_UNLIKE;
    double contrast = fabs(p[CONTRAST]);
    if (!(contrast >= MIN_CONTRAST)) return TR_CHECKER_FAINT;
    /* A blur as wide as the window leaves nothing to see. */
    if (blur(p) > w->radius_px / 2) return TR_CHECKER_BLURRED;
    if (fabs(p[BLEED]) > MAX_BLEED_PART * contrast || !has_half_tones(w, p))
        return TR_CHECKER_UNLIKE;
    double variance = e->sum_wrr / fmax(1, e->sum_w - N_PARAM);
    return sqrt(variance) <= MAX_RMS_PART * contrast ? TR_CHECKER_MEASURED : TR_CHECKER_UNLIKE;
}

/* Whether a wider window, which costs more, may see what the first one did not. */
static bool has_more_to_see(const window *w, tr_checker_outcome outcome, const double p[N_PARAM]) {
    const double worth = 1.15;
    if (w->room_px < worth * w->radius_px) return false;
    if (outcome == TR_CHECKER_MEASURED) return WINDOW_SIGMAS * blur(p) > worth * w->radius_px;
    return outcome != TR_CHECKER_OFF_IMAGE && outcome != TR_CHECKER_FAINT;
}

static tr_checker_outcome measure(const tr_image *image, tr_vec2 start_px, tr_vec2 along_x_px,
                                  tr_vec2 along_y_px, double reach_px, tr_checker *out) {
    window w;
    double p[N_PARAM] = {0};
    equations e;
    if (!make_window(&w, image, along_x_px, along_y_px)) return TR_CHECKER_TOO_SMALL;
    if (!is_inside(image, start_px, 0)) return TR_CHECKER_OFF_IMAGE;
    tr_checker_outcome outcome = measure_in(&w, start_px, reach_px, START_SIGMA_PX, p, &e);
    if (has_more_to_see(&w, outcome, p)) {
        double wide_p[N_PARAM];
        equations wide_e;
        bool is_measured = outcome == TR_CHECKER_MEASURED;
        double wide_px = is_measured ? WINDOW_SIGMAS * blur(p) : WINDOW_MAX_PX;
        w.radius_px = fmin(wide_px, WINDOW_MAX_PX);
        tr_checker_outcome wide =
            measure_in(&w, start_px, reach_px, w.radius_px / WINDOW_SIGMAS, wide_p, &wide_e);
        if (wide == TR_CHECKER_MEASURED || (wide == TR_CHECKER_BLURRED && !is_measured)) {
            outcome = wide;
            memcpy(p, wide_p, sizeof wide_p);
            e = wide_e;
        }
    }
    if (outcome != TR_CHECKER_MEASURED) return outcome;
    double contrast = fabs(p[CONTRAST]);
    /* Rounding to whole grey values alone leaves 1/12. */
    double variance = fmax(e.sum_wrr / fmax(1, e.sum_w - N_PARAM), 1.0 / 12);
    out->rms = sqrt(variance);
    out->n_steps = w.n_steps;
    out->uv_px = tr_v2(p[U], p[V]);
    out->sigma_px = blur(p);
    out->contrast = contrast;
    out->turn_rad = fmax(fabs(p[TURN_X]), fabs(p[TURN_Y]));
    return fill_covariance(&e, variance * e.alike, out) ? TR_CHECKER_MEASURED : TR_CHECKER_UNLIKE;
}

bool tr_checker_measure(const tr_image *image, tr_vec2 start_px, tr_vec2 along_x_px,
                        tr_vec2 along_y_px, double reach_px, tr_checker *out) {
    *out = (tr_checker){0};
    out->outcome = measure(image, start_px, along_x_px, along_y_px, reach_px, out);
    return out->outcome == TR_CHECKER_MEASURED;
}
