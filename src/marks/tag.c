#include "marks/tag.h"

#include <stdlib.h>
#include <string.h>

#include "lens/planar.h"

/* Half width of the window across an edge: the blur's tail beyond it carries nothing. */
static const double WINDOW_SIGMAS = 3.2;
static const double WINDOW_MIN_PX = 2.2;
/* A window may reach this far towards the next parallel edge. */
static const double WINDOW_PART = 0.75;
/* At the ends of an edge, where another edge meets it, pixels within this many sigmas are left out.
 */
static const double END_SIGMAS = 1.8;
/* A cell lower than this has no flat part between its edges that tells black from white. */
static const double MIN_CELL_PX = 1.8;
static const double MIN_CONTRAST = 12;
/* Three unknowns an edge. */
enum { MIN_PIXELS = 8 };
/* What the model of an edge leaves out (lens within a cell, tone curve, JPEG blocks), as an error
   of each edge, and of the tag's corners as a whole. Measured on rendered photos: see
   DEVELOPERS.md. */
static const double EDGE_FLOOR_PX = 0.02;
/* In lower cells the edges on both sides run into each other, and the floor grows with the square.
 */
static const double LOW_CELL_PX = 2.8;
static const double CORNER_FLOOR_PX = 0.012;
static const double OUTLIER_SIGMAS = 4.0;
static const double START_SIGMA_PX = 1.0;

enum { MAX_EDGES = 2 * TR_TAG_MAX_CELLS * TR_TAG_MAX_CELLS, N_UNKNOWNS = 10 };

typedef struct {
    /* From the pattern; tag frame: x right, y up, unit one cell, origin at the centre. */
    tr_vec2 mid;
    bool is_upright;   /* the edge runs along y, its normal along +x; else along x, normal +y */
    int polarity;      /* +1: white on the side of the normal */
    bool is_closed[2]; /* another edge meets it at its lower / upper end */
    int before[2];     /* cells to the next parallel edge below / above it; polarity alternates */
    /* Measured. */
    bool is_measured, is_used;
    double offset_px; /* along the image of the normal */
    double sd_px;
    double cell_px; /* height of a cell across the edge */
    double contrast;
    double sigma_slope, sigma_weight; /* Gauss-Newton sums of the blur, for all edges together */
    tr_vec2 normal;                   /* unit, in the image, pointing the way of the tag's normal */
} edge;

typedef struct {
    const tr_image *image;
    const tr_lens *lens;
    int border;
    tr_vec2 corner_px[4];
    tr_mat3 H; /* tag plane to ideal image plane */
    double bleed_px[2];
    double sigma_px[2];
    edge edges[MAX_EDGES];
    int n_edges;
} fit;

static tr_vec2 corner_in_cells(int border, int k) {
    double h = border / 2.0;
    return tr_v2(k == 1 || k == 2 ? h : -h, k >= 2 ? h : -h);
}

/* ---- the pattern's edges ---- */

/* Colour of cell (i, j) counted from the left and from the bottom; outside the tag's own image the
   colour of its outermost cells goes on for one cell, then nothing is known (-1). */
static int colour(const tr_tag_pattern *p, int i, int j) {
    int n = p->cells;
    if (i < 0 || j < 0 || i >= n || j >= n) return -1;
    return p->is_white[n - 1 - j][i];
}

/* Cells from an edge to the next one on its line: the run of one colour, from cell (i, j) on in
   steps of (di, dj). */
static int run_length(const tr_tag_pattern *p, int i, int j, int di, int dj) {
    int c = colour(p, i, j);
    int n = 0;
    while (colour(p, i, j) == c && n < TR_TAG_MAX_CELLS) {
        n++;
        i += di;
        j += dj;
    }
    return n;
}

static void list_edges(const tr_tag_pattern *p, fit *f) {
    double half = p->cells / 2.0;
    f->n_edges = 0;
    for (int is_upright = 0; is_upright < 2; is_upright++) {
        int di = is_upright;
        int dj = !is_upright;
        for (int j = 0; j < p->cells; j++) {
            for (int i = 0; i < p->cells; i++) {
                int below = colour(p, i - di, j - dj);
                int above = colour(p, i, j);
                if (below < 0 || below == above) continue;
                edge *e = &f->edges[f->n_edges++];
                memset(e, 0, sizeof *e);
                e->is_upright = is_upright;
                e->polarity = above ? 1 : -1;
                e->mid =
                    tr_v2(i - half + (is_upright ? 0 : 0.5), j - half + (is_upright ? 0.5 : 0));
                e->before[0] = run_length(p, i - di, j - dj, -di, -dj);
                e->before[1] = run_length(p, i, j, di, dj);
                for (int end = 0; end < 2; end++) {
                    int s = end ? 1 : -1;
                    /* The edge goes on where the next two cells along it have the same colours. */
                    e->is_closed[end] = colour(p, i + s * dj, j + s * di) != above ||
                                        colour(p, i - di + s * dj, j - dj + s * di) != below;
                }
            }
        }
    }
}

/* ---- geometry ---- */

static bool homography_of(const fit *f, const tr_vec2 corner_px[4], tr_mat3 *H) {
    tr_vec2 from[4];
    tr_vec2 to[4];
    for (int k = 0; k < 4; k++) {
        from[k] = corner_in_cells(f->border, k);
        if (!tr_lens_undistort(f->lens, corner_px[k], &to[k])) return false;
    }
    return tr_homography_fit(from, to, 4, H);
}

/* Pixel of a point of the tag; J: px per cell, 2 x 2 by rows, may be NULL. */
static bool to_pixel(const fit *f, tr_mat3 H, tr_vec2 p, tr_vec2 *uv, double J[4]) {
    tr_vec2 xy;
    double Jh[4];
    double Jd[4];
    if (!tr_homography_apply(H, p, &xy, J ? Jh : NULL)) return false;
    if (!tr_lens_distort(f->lens, xy, uv, J ? Jd : NULL)) return false;
    if (J) {
        J[0] = Jd[0] * Jh[0] + Jd[1] * Jh[2];
        J[1] = Jd[0] * Jh[1] + Jd[1] * Jh[3];
        J[2] = Jd[2] * Jh[0] + Jd[3] * Jh[2];
        J[3] = Jd[2] * Jh[1] + Jd[3] * Jh[3];
    }
    return true;
}

/* ---- one edge ---- */

/* The blurred pattern across an edge, 0 black .. 1 white on average, at signed distance d px along
   the normal; derivative by d, and by sigma. The edge itself lies at 0, its parallel neighbours at
   -before[0] and +before[1] cells. White grows by the bleed on every side. */
static double profile(const edge *e, double cell_px, double bleed, double sigma, double d,
                      double *by_d, double *by_sigma) {
    double at[3] = {-e->before[0] * cell_px, 0, e->before[1] * cell_px};
    int sign[3] = {-e->polarity, e->polarity, -e->polarity};
    double value = 0;
    *by_d = 0;
    *by_sigma = 0;
    for (int k = 0; k < 3; k++) {
        /* White above the edge (sign +1): bleeding moves it down. */
        double t = (d - at[k] + sign[k] * bleed) / sigma;
        double g = exp(-t * t / 2) / (sigma * sqrt(2 * TR_PI));
        value += sign[k] * 0.5 * erf(t / sqrt(2.0));
        *by_d += sign[k] * g;
        *by_sigma -= sign[k] * g * t;
    }
    return value;
}

typedef struct {
    tr_vec2 centre;      /* of the edge, px */
    double to_along[2];  /* pixel offset to cells along the edge */
    double to_across[2]; /* pixel offset to px along the normal */
    double cell_px;      /* height of a cell across the edge */
    double lo, hi;       /* window across, px */
    double from, to;     /* window along, cells */
    double half_along_px[2];
    double half_across_px[2];
} edge_window;

static bool make_edge_window(const fit *f, edge *e, edge_window *w) {
    double J[4];
    if (!to_pixel(f, f->H, e->mid, &w->centre, J)) return false;
    tr_vec2 ax = tr_v2(J[0], J[2]);
    tr_vec2 ay = tr_v2(J[1], J[3]);
    tr_vec2 along = e->is_upright ? ay : ax;
    tr_vec2 across = e->is_upright ? ax : ay;
    double length = tr_v2_norm(along);
    double det = tr_v2_cross(along, across);
    if (!(length > 0) || det == 0.0) return false;
    tr_vec2 normal = tr_v2(-along.y / length, along.x / length);
    if (tr_v2_dot(normal, across) < 0) normal = tr_v2_scale(-1, normal);
    e->normal = normal;
    w->cell_px = fabs(det) / length;
    if (w->cell_px < MIN_CELL_PX || length < MIN_CELL_PX) return false;
    /* Offset q = alpha along + beta across. */
    w->to_along[0] = across.y / det;
    w->to_along[1] = -across.x / det;
    w->to_across[0] = normal.x;
    w->to_across[1] = normal.y;
    double sigma = f->sigma_px[!e->is_upright];
    double reach = fmax(WINDOW_MIN_PX, WINDOW_SIGMAS * sigma);
    w->lo = -fmin(reach, fmax(WINDOW_PART * e->before[0] * w->cell_px, 1.0));
    w->hi = fmin(reach, fmax(WINDOW_PART * e->before[1] * w->cell_px, 1.0));
    double trim = END_SIGMAS * f->sigma_px[e->is_upright] / length;
    w->from = -0.5 + (e->is_closed[0] ? trim : 0);
    w->to = 0.5 - (e->is_closed[1] ? trim : 0);
    for (int k = 0; k < 2; k++) {
        w->half_along_px[k] = (k ? along.y : along.x) / 2;
        w->half_across_px[k] = (k ? across.y : across.x) / w->cell_px;
    }
    /* Pixels in the window, on average. */
    return (w->to - w->from) * length * (w->hi - w->lo) >= MIN_PIXELS;
}

/* Normal equations of (b, a, offset) and of the blur over the window's pixels. */
typedef struct {
    double A[9], rhs[3];
    double sum_rr, sigma_r, sigma_sigma;
    double sigma_x[3];
    int n;
} edge_sums;

static void sum_edge(const fit *f, const edge *e, const edge_window *w, const double x[3],
                     edge_sums *s) {
    double reach = fmax(-w->lo, w->hi);
    double ru = fabs(w->half_along_px[0]) + fabs(w->half_across_px[0]) * reach + 1;
    double rv = fabs(w->half_along_px[1]) + fabs(w->half_across_px[1]) * reach + 1;
    int u0 = (int)fmax(0, ceil(w->centre.x - ru));
    int u1 = (int)fmin(f->image->width - 1, floor(w->centre.x + ru));
    int v0 = (int)fmax(0, ceil(w->centre.y - rv));
    int v1 = (int)fmin(f->image->height - 1, floor(w->centre.y + rv));
    int family = !e->is_upright;
    memset(s, 0, sizeof *s);
    for (int v = v0; v <= v1; v++) {
        const uint8_t *row = tr_image_row(f->image, v);
        for (int u = u0; u <= u1; u++) {
            double du = u - w->centre.x;
            double dv = v - w->centre.y;
            double along = w->to_along[0] * du + w->to_along[1] * dv;
            if (along < w->from || along > w->to) continue;
            double d = w->to_across[0] * du + w->to_across[1] * dv;
            if (d < w->lo || d > w->hi) continue;
            double by_d;
            double by_sigma;
            double S = profile(e, w->cell_px, f->bleed_px[family], f->sigma_px[family], d - x[2],
                               &by_d, &by_sigma);
            double J[3] = {1, S, -x[1] * by_d};
            double Jsigma = x[1] * by_sigma;
            double r = row[u] - (x[0] + x[1] * S);
            for (int i = 0; i < 3; i++) {
                s->rhs[i] += J[i] * r;
                s->sigma_x[i] += J[i] * Jsigma;
                for (int j = 0; j <= i; j++) s->A[3 * i + j] += J[i] * J[j];
            }
            s->sum_rr += r * r;
            s->sigma_r += Jsigma * r;
            s->sigma_sigma += Jsigma * Jsigma;
            s->n++;
        }
    }
}

/* Offset of one edge. False where there are too few pixels or no such edge. */
static bool measure_edge(const fit *f, edge *e) {
    edge_window w;
    edge_sums s;
    double x[3] = {128, 100, 0};
    double A[9];
    if (!make_edge_window(f, e, &w)) return false;
    for (int step = 0; step < 3; step++) {
        double d[3];
        sum_edge(f, e, &w, x, &s);
        if (s.n < MIN_PIXELS) return false;
        memcpy(A, s.A, sizeof A);
        memcpy(d, s.rhs, sizeof d);
        if (step == 0) {
            /* Levels first: the offset's derivative needs the step's height. */
            A[6] = A[7] = 0;
            A[8] = 1;
            d[2] = 0;
        }
        if (!tr_solve_small(A, d, 3)) return false;
        x[0] += d[0];
        x[1] += d[1];
        /* Beyond the blur the profile is flat and says nothing about where the edge is. */
        double limit = 0.8 * f->sigma_px[!e->is_upright] + 0.3;
        x[2] = fmax(-2 * limit, fmin(2 * limit, x[2] + fmax(-limit, fmin(limit, d[2]))));
    }
    if (!(x[1] > MIN_CONTRAST)) return false; /* also where black and white are exchanged */
    sum_edge(f, e, &w, x, &s);
    if (s.n < MIN_PIXELS) return false;
    memcpy(A, s.A, sizeof A);
    double unit[3] = {0, 0, 1};
    if (!tr_solve_small(A, unit, 3)) return false;
    double variance = fmax(s.sum_rr / fmax(1, s.n - 3), 0.25);
    e->offset_px = x[2];
    e->sd_px = sqrt(variance * unit[2]);
    e->cell_px = w.cell_px;
    e->contrast = x[1];
    /* The blur's own step, with levels and offset eliminated. */
    double y[3];
    memcpy(A, s.A, sizeof A);
    memcpy(y, s.sigma_x, sizeof y);
    if (!tr_solve_small(A, y, 3)) return false;
    double reduced = s.sigma_sigma;
    double slope = s.sigma_r;
    for (int i = 0; i < 3; i++) {
        reduced -= s.sigma_x[i] * y[i];
        slope -= s.rhs[i] * y[i];
    }
    e->sigma_slope = slope / variance;
    e->sigma_weight = fmax(0, reduced) / variance;
    return e->sd_px < 1;
}

/* ---- all edges ---- */

static int compare_doubles(const void *a, const void *b) {
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(double *v, int n) {
    if (n < 1) return 0;
    qsort(v, (size_t)n, sizeof *v, compare_doubles);
    return n % 2 ? v[n / 2] : (v[n / 2 - 1] + v[n / 2]) / 2;
}

static void measure_edges(fit *f) {
    for (int i = 0; i < f->n_edges; i++) {
        edge *e = &f->edges[i];
        e->is_measured = measure_edge(f, e);
        e->is_used = e->is_measured;
    }
}

/* One step of the blur of each family, from all its edges. */
static void update_sigma(fit *f) {
    for (int family = 0; family < 2; family++) {
        double slope = 0;
        double weight = 0;
        for (int i = 0; i < f->n_edges; i++) {
            const edge *e = &f->edges[i];
            if (!e->is_used || !e->is_upright != family) continue;
            slope += e->sigma_slope;
            weight += e->sigma_weight;
        }
        if (!(weight > 0)) continue;
        double step = fmax(-0.3, fmin(0.3, slope / weight));
        f->sigma_px[family] = fmax(0.3, fmin(4, f->sigma_px[family] + step));
    }
}

/* How an edge's predicted place along its normal moves with each corner coordinate: differences of
   the homography, since each corner acts on the whole map. */
static bool corner_jacobian(const fit *f, double (*J)[8]) {
    const double h = 1e-3; /* px: rounding 1e-13/1e-3, curvature 1e-6 */
    for (int k = 0; k < 8; k++) {
        tr_mat3 H[2];
        for (int side = 0; side < 2; side++) {
            tr_vec2 c[4];
            memcpy(c, f->corner_px, sizeof c);
            double *value = k % 2 ? &c[k / 2].y : &c[k / 2].x;
            *value += side ? h : -h;
            if (!homography_of(f, c, &H[side])) return false;
        }
        for (int i = 0; i < f->n_edges; i++) {
            const edge *e = &f->edges[i];
            tr_vec2 a;
            tr_vec2 b;
            if (!e->is_measured) continue;
            if (!to_pixel(f, H[0], e->mid, &a, NULL) || !to_pixel(f, H[1], e->mid, &b, NULL)) {
                return false;
            }
            J[i][k] = tr_v2_dot(e->normal, tr_v2_scale(1 / (2 * h), tr_v2_sub(b, a)));
        }
    }
    return true;
}

static double edge_variance(const edge *e) {
    double lowness = fmax(1, LOW_CELL_PX / e->cell_px);
    double floor_px = EDGE_FLOOR_PX * lowness * lowness;
    return e->sd_px * e->sd_px + floor_px * floor_px;
}

/* Corners and bleeds from the edges' offsets. x: corners' step (8) and bleeds' (2). C: covariance
   of x, may be NULL. The bleeds get a prior of 1 px: they are never larger. */
static bool solve_corners(const fit *f, double (*J)[8], double x[N_UNKNOWNS], double *C,
                          double *chi2, int *n_used) {
    double A[N_UNKNOWNS * N_UNKNOWNS] = {0};
    memset(x, 0, N_UNKNOWNS * sizeof *x);
    A[8 * N_UNKNOWNS + 8] = A[9 * N_UNKNOWNS + 9] = 1;
    *n_used = 0;
    for (int i = 0; i < f->n_edges; i++) {
        const edge *e = &f->edges[i];
        if (!e->is_used) continue;
        double row[N_UNKNOWNS] = {0};
        double w = 1 / edge_variance(e);
        memcpy(row, J[i], 8 * sizeof *row);
        row[8 + !e->is_upright] = -e->polarity;
        for (int a = 0; a < N_UNKNOWNS; a++) {
            x[a] += w * row[a] * e->offset_px;
            for (int b = 0; b <= a; b++) A[a * N_UNKNOWNS + b] += w * row[a] * row[b];
        }
        (*n_used)++;
    }
    double L[N_UNKNOWNS * N_UNKNOWNS];
    memcpy(L, A, sizeof L);
    if (!tr_solve_small(L, x, N_UNKNOWNS)) return false;
    *chi2 = 0;
    for (int i = 0; i < f->n_edges; i++) {
        const edge *e = &f->edges[i];
        if (!e->is_used) continue;
        double r = e->offset_px + e->polarity * x[8 + !e->is_upright];
        for (int a = 0; a < 8; a++) r -= J[i][a] * x[a];
        *chi2 += r * r / edge_variance(e);
    }
    if (!C) return true;
    for (int k = 0; k < N_UNKNOWNS; k++) {
        double unit[N_UNKNOWNS] = {0};
        unit[k] = 1;
        memcpy(L, A, sizeof L);
        if (!tr_solve_small(L, unit, N_UNKNOWNS)) return false;
        for (int a = 0; a < N_UNKNOWNS; a++) C[a * N_UNKNOWNS + k] = unit[a];
    }
    return true;
}

/* Leaves out the edges that disagree with the fit by far more than the others do. */
static int drop_outliers(fit *f, double (*J)[8], const double x[N_UNKNOWNS]) {
    double size[MAX_EDGES];
    double scratch[MAX_EDGES];
    int n = 0;
    int dropped = 0;
    for (int i = 0; i < f->n_edges; i++) {
        const edge *e = &f->edges[i];
        if (!e->is_measured) continue;
        double r = e->offset_px + e->polarity * x[8 + !e->is_upright];
        for (int a = 0; a < 8; a++) r -= J[i][a] * x[a];
        size[i] = fabs(r) / sqrt(edge_variance(e));
        if (e->is_used) scratch[n++] = size[i];
    }
    /* 1.4826 times the median of absolute values is the sd of a normal distribution. */
    double scale = fmax(1, 1.4826 * median(scratch, n));
    for (int i = 0; i < f->n_edges; i++) {
        edge *e = &f->edges[i];
        if (!e->is_measured) continue;
        bool is_used = size[i] <= OUTLIER_SIGMAS * scale;
        dropped += e->is_used && !is_used;
        e->is_used = is_used;
    }
    return dropped;
}

/* Edges on the outline of the border, which all tags have. */
static bool is_outline(const fit *f, const edge *e) {
    return fabs(fabs(e->is_upright ? e->mid.x : e->mid.y) - f->border / 2.0) < 0.25;
}

/* At least half of the edges that could be measured agree, and at least this many of each family:
   8 corner coordinates and 2 bleeds are to be found from them. Of the inner edges, which tell one
   tag from another, two thirds must: another tag's pattern, or this one turned by a quarter, shares
   about one in four. */
static bool is_enough(const fit *f, int *n_used, int *n_possible) {
    int used[2] = {0, 0};
    int inner_used = 0;
    int inner_possible = 0;
    int possible = 0;
    for (int i = 0; i < f->n_edges; i++) {
        edge_window w;
        edge e = f->edges[i];
        used[!e.is_upright] += e.is_used;
        bool is_possible = make_edge_window(f, &e, &w);
        possible += is_possible;
        inner_used += e.is_used && !is_outline(f, &e);
        inner_possible += is_possible && !is_outline(f, &e);
    }
    *n_used = used[0] + used[1];
    *n_possible = possible;
    return used[0] >= 8 && used[1] >= 8 && 2 * (*n_used) >= possible &&
           3 * inner_used >= 2 * inner_possible;
}

static void apply_step(fit *f, const double x[N_UNKNOWNS], double *largest) {
    *largest = 0;
    for (int k = 0; k < 4; k++) {
        f->corner_px[k].x += x[2 * k];
        f->corner_px[k].y += x[2 * k + 1];
        *largest = fmax(*largest, hypot(x[2 * k], x[2 * k + 1]));
    }
    for (int k = 0; k < 2; k++) f->bleed_px[k] = fmax(-1, fmin(1, f->bleed_px[k] + x[8 + k]));
}

static bool run_fit(fit *f, const tr_vec2 start_px[4], tr_tag_fit *out) {
    double J[MAX_EDGES][8];
    double x[N_UNKNOWNS];
    double C[N_UNKNOWNS * N_UNKNOWNS];
    double chi2 = 0;
    int n_used = 0;
    double largest = INFINITY;
    memcpy(f->corner_px, start_px, sizeof f->corner_px);
    f->sigma_px[0] = f->sigma_px[1] = START_SIGMA_PX;
    for (int pass = 0; pass < 12; pass++) {
        if (!homography_of(f, f->corner_px, &f->H)) return false;
        measure_edges(f);
        if (!is_enough(f, &out->n_edges, &out->n_possible)) return false;
        if (!corner_jacobian(f, J)) return false;
        if (!solve_corners(f, J, x, NULL, &chi2, &n_used)) return false;
        for (int again = 0; again < 3 && drop_outliers(f, J, x) > 0; again++) {
            if (!solve_corners(f, J, x, NULL, &chi2, &n_used)) return false;
        }
        if (!is_enough(f, &out->n_edges, &out->n_possible)) return false;
        if (!solve_corners(f, J, x, C, &chi2, &n_used)) return false;
        update_sigma(f);
        apply_step(f, x, &largest);
        if (largest < 0.002 && pass >= 3) break;
    }
    /* A fit that still wanders does not sit on this tag. */
    if (!(largest < 0.05)) return false;
    double factor = fmax(1, chi2 / fmax(1, n_used - N_UNKNOWNS));
    for (int i = 0; i < 8; i++) {
        for (int j = 0; j < 8; j++) out->covariance[8 * i + j] = factor * C[i * N_UNKNOWNS + j];
        out->covariance[9 * i] += CORNER_FLOOR_PX * CORNER_FLOOR_PX;
    }
    memcpy(out->corner_px, f->corner_px, sizeof out->corner_px);
    memcpy(out->bleed_px, f->bleed_px, sizeof out->bleed_px);
    memcpy(out->sigma_px, f->sigma_px, sizeof out->sigma_px);
    double contrast[MAX_EDGES];
    int n = 0;
    double sum = 0;
    for (int i = 0; i < f->n_edges; i++) {
        const edge *e = &f->edges[i];
        if (!e->is_used) continue;
        double r = e->offset_px + e->polarity * x[8 + !e->is_upright];
        for (int a = 0; a < 8; a++) r -= J[i][a] * x[a];
        sum += r * r;
        contrast[n++] = e->contrast;
    }
    out->rms_px = sqrt(sum / n);
    out->contrast = median(contrast, n);
    out->n_edges = n;
    return true;
}

bool tr_tag_measure(const tr_image *image, const tr_lens *lens, const tr_tag_pattern *pattern,
                    const tr_vec2 start_px[4], tr_tag_fit *out) {
    fit f = {.image = image, .lens = lens, .border = pattern->border};
    memset(out, 0, sizeof *out);
    list_edges(pattern, &f);
    return run_fit(&f, start_px, out);
}
