#include "marks/small_tag.h"

#include <string.h>

#include "geom/dense.h"
#include "lens/planar.h"
#include "marks/edge_model.h"
#include "marks/lanes.h"

enum { MAX_PIXELS = 1600, MAX_EDGES = TR_TAG_MAX_CELLS + 1 };
/* The homography's first eight elements, the ninth being 1. */
enum { H, SIGMA = 8, LEVEL, LEVEL_U, LEVEL_V, STEP, TONE, N_PARAM = TONE + TR_EDGE_N_TONE };

static const double MIN_CONTRAST = 12;
static const double START_SIGMA_PX = 0.7;
static const double MIN_SIGMA_PX = 0.3;
static const double MAX_SIGMA_PX = 5;
/* How far a tone curve is from a square root: sd of its coefficients, as in tag.c. */
static const double TONE_SD = 0.8;
/* Of the grey values, as a part of the step: what priors weigh against. */
static const double PIXEL_SD_PART = 0.05;
/* The blur reaches so far. */
static const double REACH_SIGMAS = 3.5;
/* The fit's rms as a part of the step. */
static const double MAX_RMS_PART = 0.14;
/* Cells that would be better met by the other colour: more are another tag, or something that
   covers this one. Tags of one family differ in a quarter of their cells and more. */
static const double MAX_WRONG_PART = 0.1;
/* The corners may move by so much from the start: px, or a part of a cell. */
static const double MAX_MOVE_PX = 2.5;
static const double MAX_MOVE_CELLS = 0.8;
static const double CORNER_FLOOR_PX = 0.02;

typedef struct {
    const tr_tag_pattern *pattern;
    const tr_lens *lens;
    int n;
    tr_vec2 middle_px;
    float weight[MAX_PIXELS]; /* root of it */
    float grey[MAX_PIXELS];
    tr_vec2 xy[MAX_PIXELS]; /* on the ideal image plane */
    tr_vec2 uv[MAX_PIXELS]; /* from middle_px */
    /* Pixels to cells in the tag's middle, by rows: what the blur's shape is taken from. */
    double to_cells[4];
    double step; /* about, for the priors */
} scene;

static tr_vec2 corner_in_cells(int border, int k) {
    double h = border / 2.0;
    return tr_v2(k == 1 || k == 2 ? h : -h, k >= 2 ? h : -h);
}

static tr_mat3 homography_of(const double p[N_PARAM]) {
    return (tr_mat3){{{p[0], p[1], p[2]}, {p[3], p[4], p[5]}, {p[6], p[7], 1}}};
}

/* Column i from the left, row j from the bottom; beyond the rim its cells go on. */
static int colour(const tr_tag_pattern *p, int i, int j) {
    int n = p->cells;
    i = i < 0 ? 0 : i >= n ? n - 1 : i;
    j = j < 0 ? 0 : j >= n ? n - 1 : j;
    return p->is_white[n - 1 - j][i];
}

/* ---- the blurred pattern ---- */

/* Of the cells that a blurred pixel sees along one axis: the first, how many, and the normal
   distribution at the edges between them. */
typedef struct {
    int first, n;
    double z[MAX_EDGES], below[MAX_EDGES], density[MAX_EDGES];
} band;

static void make_band(int cells, double at, double sigma, band *b) {
    double left = at + cells / 2.0; /* from the pattern's rim */
    int lo = (int)floor(left - REACH_SIGMAS * sigma);
    int hi = (int)floor(left + REACH_SIGMAS * sigma);
    lo = lo < 0 ? 0 : lo >= cells ? cells - 1 : lo;
    hi = hi < lo ? lo : hi >= cells ? cells - 1 : hi;
    b->first = lo;
    b->n = hi - lo + 1;
    for (int k = 1; k < b->n; k++) {
        float density;
        b->z[k] = (left - (lo + k)) / sigma;
        b->below[k] = (double)tr_normal_below((float)b->z[k], &density);
        b->density[k] = (double)density;
    }
    b->below[0] = 1;
    b->below[b->n] = b->density[0] = b->density[b->n] = b->z[0] = b->z[b->n] = 0;
}

typedef struct {
    double light, by_a, by_b, by_log_sigma;
} seen;

/* What a pixel sees whose blur has these sigmas in cells, correlated by r. The bivariate normal
   distribution as in edge_model.c: Pearson's tetrachoric series. */
static seen look(const tr_tag_pattern *p, tr_vec2 at, double sigma_a, double sigma_b, double r) {
    band a;
    band b;
    seen s = {0, 0, 0, 0};
    double by_z = 0; /* of the light by at in sigmas, and times the distance */
    double by_w = 0;
    make_band(p->cells, at.x, sigma_a, &a);
    make_band(p->cells, at.y, sigma_b, &b);
    for (int i = 0; i < a.n; i++) {
        double column = 0;
        double change = 0;
        double change_far = 0;
        for (int j = 0; j < b.n; j++) {
            double c = colour(p, a.first + i, b.first + j);
            column += c * (b.below[j] - b.below[j + 1]);
            change += c * (b.density[j] - b.density[j + 1]);
            change_far += c * (b.z[j] * b.density[j] - b.z[j + 1] * b.density[j + 1]);
        }
        double share = a.below[i] - a.below[i + 1];
        s.light += share * column;
        by_z += (a.density[i] - a.density[i + 1]) * column;
        by_w += share * change;
        s.by_log_sigma -=
            (a.z[i] * a.density[i] - a.z[i + 1] * a.density[i + 1]) * column + share * change_far;
    }
    for (int i = 1; i < a.n; i++) {
        for (int j = 1; j < b.n; j++) {
            int u = a.first + i;
            int v = b.first + j;
            int m = colour(p, u, v) - colour(p, u - 1, v) - colour(p, u, v - 1) +
                    colour(p, u - 1, v - 1);
            if (m == 0) continue;
            double z = a.z[i];
            double w = b.z[j];
            double both = m * a.density[i] * b.density[j];
            double r2 = r * r / 2;
            double r3 = r * r * r / 6;
            double more = r + r2 * z * w + r3 * (z * z - 1) * (w * w - 1);
            double more_z = -(r * z + r2 * (z * z - 1) * w + r3 * z * (z * z - 3) * (w * w - 1));
            double more_w = -(r * w + r2 * z * (w * w - 1) + r3 * (z * z - 1) * w * (w * w - 3));
            s.light += both * more;
            by_z += both * more_z;
            by_w += both * more_w;
            s.by_log_sigma -= both * (z * more_z + w * more_w);
        }
    }
    s.by_a = by_z / sigma_a;
    s.by_b = by_w / sigma_b;
    return s;
}

/* ---- the fit ---- */

typedef struct {
    double A[N_PARAM * N_PARAM];
    double b[N_PARAM];
    double sum_w, sum_wrr, cost;
} equations;

/* The blur in cells and its correlation; cells to pixels is nearly the same all over a small tag.
 */
typedef struct {
    double a, b, r;
} blur;

static blur blur_of(const scene *s, double sigma_px) {
    const double *K = s->to_cells;
    double a = hypot(K[0], K[1]);
    double b = hypot(K[2], K[3]);
    return (blur){sigma_px * a, sigma_px * b, (K[0] * K[2] + K[1] * K[3]) / (a * b)};
}

/* Where on the tag a pixel looks, and how that moves with the homography. */
static bool to_tag(tr_mat3 inverse, const double p[N_PARAM], tr_vec2 xy, tr_vec2 *at,
                   double by_h[2][8]) {
    if (!tr_homography_apply(inverse, xy, at, NULL)) return false;
    double D = p[6] * at->x + p[7] * at->y + 1;
    /* d(x, y) by the place on the tag, and by the elements at that place. */
    double xa = (p[0] - xy.x * p[6]) / D;
    double xb = (p[1] - xy.x * p[7]) / D;
    double ya = (p[3] - xy.y * p[6]) / D;
    double yb = (p[4] - xy.y * p[7]) / D;
    double det = xa * yb - xb * ya;
    if (det == 0.0) return false;
    const double term[3] = {at->x / D, at->y / D, 1 / D};
    for (int k = 0; k < 8; k++) {
        double dx = k < 3 ? term[k] : k < 6 ? 0 : -xy.x * term[k - 6];
        double dy = k < 3 ? 0 : k < 6 ? term[k - 3] : -xy.y * term[k - 6];
        by_h[0][k] = -(yb * dx - xb * dy) / det;
        by_h[1][k] = -(xa * dy - ya * dx) / det;
    }
    return true;
}

static bool invert(tr_mat3 M, tr_mat3 *out) {
    double(*m)[3] = M.m;
    tr_mat3 c;
    for (int i = 0; i < 3; i++) {
        for (int j = 0; j < 3; j++) {
            int a = (j + 1) % 3;
            int b = (j + 2) % 3;
            int d = (i + 1) % 3;
            int e = (i + 2) % 3;
            c.m[i][j] = m[a][d] * m[b][e] - m[a][e] * m[b][d];
        }
    }
    double det = m[0][0] * c.m[0][0] + m[0][1] * c.m[1][0] + m[0][2] * c.m[2][0];
    if (!(fabs(det) > 0)) return false;
    /* The sign that leaves the last coordinate positive where it is so in M. */
    for (int i = 0; i < 3; i++) {
        for (int j = 0; j < 3; j++) c.m[i][j] /= det;
    }
    *out = c;
    return true;
}

static void add_row(equations *e, const double row[N_PARAM], double residual) {
    for (int a = 0; a < N_PARAM; a++) {
        e->b[a] += row[a] * residual;
        for (int b = 0; b <= a; b++) e->A[a * N_PARAM + b] += row[a] * row[b];
    }
    e->sum_wrr += residual * residual;
}

static bool assemble(const scene *s, const double p[N_PARAM], equations *e) {
    tr_mat3 inverse;
    float tone[TR_EDGE_N_TONE];
    blur width = blur_of(s, p[SIGMA]);
    memset(e, 0, sizeof *e);
    if (!invert(homography_of(p), &inverse)) return false;
    for (int k = 0; k < TR_EDGE_N_TONE; k++) tone[k] = (float)p[TONE + k];
    for (int i = 0; i < s->n; i++) {
        tr_vec2 at;
        double by_h[2][8];
        double row[N_PARAM];
        float by_light;
        float by_tone[TR_EDGE_N_TONE];
        double k = (double)s->weight[i];
        if (!to_tag(inverse, p, s->xy[i], &at, by_h)) return false;
        seen l = look(s->pattern, at, width.a, width.b, width.r);
        double white = (double)tr_edge_tone(tone, (float)l.light, &by_light, by_tone);
        double slope = k * p[STEP] * (double)by_light;
        for (int h = 0; h < 8; h++)
            row[H + h] = slope * (l.by_a * by_h[0][h] + l.by_b * by_h[1][h]);
        row[SIGMA] = slope * l.by_log_sigma / p[SIGMA];
        row[LEVEL] = k;
        row[LEVEL_U] = k * s->uv[i].x;
        row[LEVEL_V] = k * s->uv[i].y;
        row[STEP] = k * white;
        for (int t = 0; t < TR_EDGE_N_TONE; t++) row[TONE + t] = k * p[STEP] * (double)by_tone[t];
        add_row(e, row,
                k * ((double)s->grey[i] - p[LEVEL] - p[LEVEL_U] * s->uv[i].x -
                     p[LEVEL_V] * s->uv[i].y - p[STEP] * white));
        e->sum_w += k * k;
    }
    e->cost = e->sum_wrr;
    double w = PIXEL_SD_PART * s->step / TONE_SD;
    for (int t = TONE; t < N_PARAM; t++) {
        e->A[t * N_PARAM + t] += w * w;
        e->b[t] -= w * w * p[t];
        e->cost += w * w * p[t] * p[t];
    }
    return true;
}

/* Levenberg-Marquardt (damping as Nielsen, Damping parameter in Marquardt's method,
   IMM-REP-1999-05, 1999): no step is taken that does not lower the cost. */
enum { MAX_STEPS = 40, MAX_REFUSED = 8 };
static const double STILL_PX = 2e-3;

/* How far the corners of the tag go with a step of the homography, px at most. */
static double corner_move(const scene *s, const double p[N_PARAM], const double next[N_PARAM]) {
    double largest = 0;
    for (int k = 0; k < 4; k++) {
        tr_vec2 c = corner_in_cells(s->pattern->border, k);
        tr_vec2 xy[2];
        tr_vec2 uv[2];
        for (int i = 0; i < 2; i++) {
            if (!tr_homography_apply(homography_of(i ? next : p), c, &xy[i], NULL) ||
                !tr_lens_distort(s->lens, xy[i], &uv[i], NULL)) {
                return INFINITY;
            }
        }
        largest = fmax(largest, tr_v2_norm(tr_v2_sub(uv[1], uv[0])));
    }
    return largest;
}

static bool take_step(const equations *e, double lambda, const double p[N_PARAM],
                      double next[N_PARAM], double *expected) {
    double A[N_PARAM * N_PARAM];
    double step[N_PARAM];
    memcpy(A, e->A, sizeof A);
    memcpy(step, e->b, sizeof step);
    for (int i = 0; i < N_PARAM; i++) A[i * N_PARAM + i] *= 1 + lambda;
    if (!tr_dense_solve(A, step, N_PARAM)) return false;
    *expected = 0;
    for (int i = 0; i < N_PARAM; i++) {
        *expected += step[i] * e->b[i];
        next[i] = p[i] + step[i];
    }
    next[SIGMA] = fmax(MIN_SIGMA_PX, fmin(MAX_SIGMA_PX, next[SIGMA]));
    return true;
}

static tr_tag_outcome descend(const scene *s, double p[N_PARAM], equations *e) {
    double lambda = 1e-3;
    double raise = 2;
    int n_refused = 0;
    if (!assemble(s, p, e)) return TR_TAG_UNLIKE;
    for (int k = 0; k < MAX_STEPS; k++) {
        double next[N_PARAM];
        double expected;
        equations there;
        if (!take_step(e, lambda, p, next, &expected)) return TR_TAG_UNLIKE;
        double move = corner_move(s, p, next);
        bool is_lower = move < 2 && assemble(s, next, &there) && there.cost < e->cost;
        if (is_lower) {
            double q = 2 * (e->cost - there.cost) / expected - 1;
            double reduction = e->cost - there.cost;
            lambda = fmax(1e-6, lambda * fmax(1.0 / 5, 1 - q * q * q));
            raise = 2;
            n_refused = 0;
            memcpy(p, next, sizeof next);
            *e = there;
            if (move < STILL_PX && reduction < 1e-2 * e->cost) return TR_TAG_MEASURED;
        } else {
            lambda *= raise;
            raise *= 2;
            if (++n_refused == MAX_REFUSED) {
                return move < STILL_PX ? TR_TAG_MEASURED : TR_TAG_UNSETTLED;
            }
        }
    }
    return TR_TAG_UNSETTLED;
}

/* ---- pixels and start ---- */

/* 1 on the tag, falling to 0 at the end of what is known about it. */
static double weight_at(const tr_tag_pattern *pattern, tr_vec2 at) {
    double left = pattern->cells / 2.0 - fmax(fabs(at.x), fabs(at.y));
    return fmax(0, fmin(1, 2 * left));
}

static bool gather_pixels(const tr_image *image, tr_mat3 Hs, scene *s) {
    double half = s->pattern->cells / 2.0;
    tr_vec2 lo = tr_v2(INFINITY, INFINITY);
    tr_vec2 hi = tr_v2(-INFINITY, -INFINITY);
    tr_mat3 inverse;
    for (int k = 0; k < 4; k++) {
        tr_vec2 xy;
        tr_vec2 uv;
        if (!tr_homography_apply(Hs, tr_v2(k % 2 ? half : -half, k / 2 ? half : -half), &xy,
                                 NULL) ||
            !tr_lens_distort(s->lens, xy, &uv, NULL)) {
            return false;
        }
        lo = tr_v2(fmin(lo.x, uv.x), fmin(lo.y, uv.y));
        hi = tr_v2(fmax(hi.x, uv.x), fmax(hi.y, uv.y));
    }
    if (!invert(Hs, &inverse) || !(hi.x - lo.x < 2000) || !(hi.y - lo.y < 2000)) return false;
    int u0 = (int)fmax(0, ceil(lo.x));
    int v0 = (int)fmax(0, ceil(lo.y));
    int u1 = (int)fmin(image->width - 1, floor(hi.x));
    int v1 = (int)fmin(image->height - 1, floor(hi.y));
    double area = (hi.x - lo.x) * (hi.y - lo.y);
    int every = 1 + (int)(area / MAX_PIXELS);
    int count = 0;
    s->middle_px = tr_v2_scale(0.5, tr_v2_add(lo, hi));
    for (int v = v0; v <= v1; v++) {
        for (int u = u0; u <= u1; u++) {
            tr_vec2 xy;
            tr_vec2 at;
            if (count++ % every != 0 || s->n == MAX_PIXELS) continue;
            if (!tr_lens_undistort(s->lens, tr_v2(u, v), &xy) ||
                !tr_homography_apply(inverse, xy, &at, NULL)) {
                continue;
            }
            double w = weight_at(s->pattern, at);
            if (w <= 0) continue;
            s->xy[s->n] = xy;
            s->uv[s->n] = tr_v2_sub(tr_v2(u, v), s->middle_px);
            s->weight[s->n] = (float)sqrt(w);
            s->grey[s->n++] = tr_image_row(image, v)[u];
        }
    }
    return s->n > 3 * N_PARAM;
}

/* Level and step as the start's pattern has them. */
static bool start_values(scene *s, tr_mat3 Hs, double p[N_PARAM]) {
    tr_mat3 inverse;
    double n = 0;
    double sx = 0;
    double sy = 0;
    double sxx = 0;
    double sxy = 0;
    memset(p, 0, N_PARAM * sizeof *p);
    for (int k = 0; k < 8; k++) p[H + k] = Hs.m[k / 3][k % 3] / Hs.m[2][2];
    p[SIGMA] = START_SIGMA_PX;
    if (!invert(homography_of(p), &inverse)) return false;
    blur width = blur_of(s, p[SIGMA]);
    for (int i = 0; i < s->n; i++) {
        tr_vec2 at;
        if (!tr_homography_apply(inverse, s->xy[i], &at, NULL)) return false;
        double x = look(s->pattern, at, width.a, width.b, width.r).light - 0.5;
        double y = (double)s->grey[i];
        n++;
        sx += x;
        sy += y;
        sxx += x * x;
        sxy += x * y;
    }
    double step = (sxy - sx * sy / n) / (sxx - sx * sx / n);
    p[STEP] = step;
    p[LEVEL] = (sy - step * sx) / n;
    s->step = step;
    return step > MIN_CONTRAST / 2;
}

/* ---- what came out ---- */

/* Of the cells within the border those that would be better met by the other colour. */
static bool count_wrong(const scene *s, const double p[N_PARAM], int *n_wrong, int *n) {
    double project[TR_TAG_MAX_CELLS][TR_TAG_MAX_CELLS] = {{0}};
    double square[TR_TAG_MAX_CELLS][TR_TAG_MAX_CELLS] = {{0}};
    tr_mat3 inverse;
    float tone[TR_EDGE_N_TONE];
    blur width = blur_of(s, p[SIGMA]);
    if (!invert(homography_of(p), &inverse)) return false;
    for (int k = 0; k < TR_EDGE_N_TONE; k++) tone[k] = (float)p[TONE + k];
    for (int i = 0; i < s->n; i++) {
        tr_vec2 at;
        float by_light;
        float by_tone[TR_EDGE_N_TONE];
        band a;
        band b;
        if (!tr_homography_apply(inverse, s->xy[i], &at, NULL)) return false;
        seen l = look(s->pattern, at, width.a, width.b, width.r);
        double white = (double)tr_edge_tone(tone, (float)l.light, &by_light, by_tone);
        double residual = (double)s->grey[i] - p[LEVEL] - p[LEVEL_U] * s->uv[i].x -
                          p[LEVEL_V] * s->uv[i].y - p[STEP] * white;
        make_band(s->pattern->cells, at.x, width.a, &a);
        make_band(s->pattern->cells, at.y, width.b, &b);
        for (int c = 0; c < a.n; c++) {
            for (int r = 0; r < b.n; r++) {
                double f = p[STEP] * (a.below[c] - a.below[c + 1]) * (b.below[r] - b.below[r + 1]);
                project[a.first + c][b.first + r] += f * residual;
                square[a.first + c][b.first + r] += f * f;
            }
        }
    }
    int rim = (s->pattern->cells - s->pattern->border) / 2 + 1;
    *n = *n_wrong = 0;
    for (int i = rim; i < s->pattern->cells - rim; i++) {
        for (int j = rim; j < s->pattern->cells - rim; j++) {
            double change = project[i][j] / fmax(square[i][j], 1e-9);
            (*n)++;
            *n_wrong += colour(s->pattern, i, j) ? change < -0.5 : change > 0.5;
        }
    }
    return true;
}

/* Of the corners, from that of the homography. What the model leaves of the edges (rms_px) may draw
   all four corners inward or outward together. */
static bool fill_corners(const scene *s, const double p[N_PARAM], const equations *e,
                         double variance, tr_tag_fit *out) {
    double J[8][8];
    double C[8][N_PARAM]; /* rows: corners' coordinates; J times the inverse of A */
    for (int k = 0; k < 4; k++) {
        tr_vec2 c = corner_in_cells(s->pattern->border, k);
        tr_vec2 xy;
        double Jd[4];
        if (!tr_homography_apply(homography_of(p), c, &xy, NULL) ||
            !tr_lens_distort(s->lens, xy, &out->corner_px[k], Jd)) {
            return false;
        }
        double D = p[6] * c.x + p[7] * c.y + 1;
        const double term[3] = {c.x / D, c.y / D, 1 / D};
        for (int h = 0; h < 8; h++) {
            double dx = h < 3 ? term[h] : h < 6 ? 0 : -xy.x * term[h - 6];
            double dy = h < 3 ? 0 : h < 6 ? term[h - 3] : -xy.y * term[h - 6];
            J[2 * k][h] = Jd[0] * dx + Jd[1] * dy;
            J[2 * k + 1][h] = Jd[2] * dx + Jd[3] * dy;
        }
    }
    for (int i = 0; i < 8; i++) {
        double A[N_PARAM * N_PARAM];
        memcpy(A, e->A, sizeof A);
        memset(C[i], 0, sizeof C[i]);
        memcpy(C[i], J[i], sizeof J[i]);
        if (!tr_dense_solve(A, C[i], N_PARAM)) return false;
    }
    tr_vec2 centre = tr_v2(0, 0);
    double inward[8];
    for (int k = 0; k < 4; k++) centre = tr_v2_add(centre, tr_v2_scale(0.25, out->corner_px[k]));
    for (int k = 0; k < 4; k++) {
        tr_vec2 d = tr_v2_sub(centre, out->corner_px[k]);
        d = tr_v2_scale(out->rms_px / tr_v2_norm(d), d);
        inward[2 * k] = d.x;
        inward[2 * k + 1] = d.y;
    }
    for (int i = 0; i < 8; i++) {
        for (int j = 0; j <= i; j++) {
            double sum = inward[i] * inward[j] / variance;
            for (int h = 0; h < 8; h++) sum += C[i][h] * J[j][h];
            out->covariance[8 * i + j] = out->covariance[8 * j + i] = variance * sum;
        }
        out->covariance[9 * i] += CORNER_FLOOR_PX * CORNER_FLOOR_PX;
    }
    return true;
}

static double cell_of(const scene *s) {
    const double *K = s->to_cells;
    return 1 / fmax(hypot(K[0], K[1]), hypot(K[2], K[3]));
}

tr_tag_outcome tr_small_tag_measure(const tr_image *image, const tr_lens *lens,
                                    const tr_tag_pattern *pattern, const tr_vec2 start_px[4],
                                    tr_tag_fit *out) {
    scene s = {.pattern = pattern, .lens = lens};
    tr_vec2 cells[4];
    tr_vec2 xy[4];
    tr_mat3 Hs;
    double p[N_PARAM];
    double Jh[4];
    double Jd[4];
    tr_vec2 middle;
    tr_vec2 uv;
    equations e;
    for (int k = 0; k < 4; k++) {
        cells[k] = corner_in_cells(pattern->border, k);
        if (!tr_lens_undistort(lens, start_px[k], &xy[k])) return TR_TAG_OFF_IMAGE;
    }
    if (!tr_homography_fit(cells, xy, 4, &Hs) ||
        !tr_homography_apply(Hs, tr_v2(0, 0), &middle, Jh) ||
        !tr_lens_distort(lens, middle, &uv, Jd)) {
        return TR_TAG_UNLIKE;
    }
    double J[4] = {Jd[0] * Jh[0] + Jd[1] * Jh[2], Jd[0] * Jh[1] + Jd[1] * Jh[3],
                   Jd[2] * Jh[0] + Jd[3] * Jh[2], Jd[2] * Jh[1] + Jd[3] * Jh[3]};
    double det = J[0] * J[3] - J[1] * J[2];
    if (det == 0.0) return TR_TAG_UNLIKE;
    const double K[4] = {J[3] / det, -J[1] / det, -J[2] / det, J[0] / det};
    memcpy(s.to_cells, K, sizeof K);
    if (!gather_pixels(image, Hs, &s)) return TR_TAG_OFF_IMAGE;
    if (!start_values(&s, Hs, p)) return TR_TAG_FAINT;
    tr_tag_outcome end = descend(&s, p, &e);
    if (end != TR_TAG_MEASURED) return end;
    if (!(p[STEP] > MIN_CONTRAST)) return TR_TAG_FAINT;
    if (p[SIGMA] > TR_TAG_BLURRED_CELLS * cell_of(&s)) return TR_TAG_BLURRED;
    double variance = fmax(e.sum_wrr / fmax(1, e.sum_w - N_PARAM), 0.25);
    double rms_part = sqrt(variance) / p[STEP];
    int n_wrong;
    int n_cells;
    if (!count_wrong(&s, p, &n_wrong, &n_cells)) return TR_TAG_UNLIKE;
    if (n_wrong > MAX_WRONG_PART * n_cells || rms_part > MAX_RMS_PART) return TR_TAG_UNLIKE;
    out->n_possible = n_cells;
    out->n_edges = n_cells - n_wrong;
    out->contrast = p[STEP];
    out->sigma_px[0] = out->sigma_px[1] = p[SIGMA];
    out->rms_px = rms_part * p[SIGMA] * sqrt(2 * TR_PI);
    if (!fill_corners(&s, p, &e, variance, out)) return TR_TAG_UNLIKE;
    double far = fmax(MAX_MOVE_PX, MAX_MOVE_CELLS * cell_of(&s));
    for (int k = 0; k < 4; k++) {
        if (tr_v2_norm(tr_v2_sub(out->corner_px[k], start_px[k])) > far) return TR_TAG_UNLIKE;
    }
    return TR_TAG_MEASURED;
}
