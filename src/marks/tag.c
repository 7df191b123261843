#include "marks/tag.h"

#include <string.h>

#include "base/median.h"
#include "geom/dense.h"
#include "lens/planar.h"
#include "marks/edge_model.h"
#include "marks/small_tag.h"

/* Half width of the window across an edge: the blur's tail beyond it carries nothing. */
static const double WINDOW_SIGMAS = 3.2;
static const double WINDOW_MIN_PX = 2.2;
/* A window may reach this far towards the next parallel edge. */
static const double WINDOW_PART = 0.75;
/* Cells lower than this cannot be told apart: see test_tag.c, at_the_limit_of_size. */
static const double MIN_CELL_PX = 1.3;
/* Tags with lower cells are fitted as a whole. */
static const double SMALL_CELL_PX = 3.0;
static const double MIN_WHOLE_CELL_PX = 1.25;
static const double MIN_CONTRAST = 12;
enum { MIDDLE_GREY = 128 };
/* Three unknowns an edge. */
enum { MIN_PIXELS = 8 };
/* More pixels of one edge tell little more: they are taken at even steps. Fewer do while the
   corners are still on their way. */
enum { MAX_PIXELS = 64, MAX_STEP = 10000, FIRST_PIXELS = 24, FIRST_PASSES = 2 };
/* What the model of an edge leaves out (lens within a cell, tone curve, JPEG blocks), as an error
   of each edge, and of the tag's corners as a whole. Measured on rendered photos: see
   doc/measurements.md. */
static const double EDGE_FLOOR_PX = 0.012;
/* In lower cells the edges on both sides run into each other, and the floor grows with the square.
 */
static const double LOW_CELL_PX = 2.8;
static const double CORNER_FLOOR_PX = 0.008;
/* What the tone curve leaves of the bleed draws all four corners inward or outward together, by
   this over the height of a cell, px^2; and by this part of the edges' scatter, which grows with
   what ink and development do that the model does not know. */
static const double INWARD_FLOOR_PX2 = 0.02;
static const double INWARD_PART = 0.4;
/* How far paper is from flat within a tag, in parts of its edge: sd of each coefficient of the
   bend. A side of a mat that is lifted by 1.5 mm over 0.3 to 0.2 m bends a tag of 150 mm by 0.0006
   to 0.0014; at a corner two sides add up. */
static const double BEND_SD = 0.0025;
/* How far a tone curve is from a square root: sd of its coefficients, see edge_model.c. */
static const double TONE_SD = 0.8;
static const double TONE_LIMIT = 1.6;
static const double OUTLIER_SIGMAS = 4.0;
/* The first pass looks for edges that are up to 2 px off, and off again by the ink's growth. */
static const double START_SIGMA_PX = 1.0;
static const double START_SIGMA_MAX_PX = 2.0;
static const double START_SIGMA_CELLS = 0.1;
static const double MIN_SIGMA_PX = 0.3;
static const double MAX_SIGMA_PX = 5;
/* How the edges move with the corners is computed anew while the corners move by more than this. */
static const double JACOBIAN_PX = 0.1;
/* A step of the corners that is small beside their standard deviation ends the fit. Late steps are
   those of edges that come and go as outliers, and do not become smaller. */
static const double SETTLED_PX = 0.003;
static const double LATE_SETTLED_PX = 0.02;
enum { FIRST_PASS_TO_SETTLE = 3, LATE_PASS = 6 };
/* A last step no larger than this, or than this part of the corners' standard deviation, counts as
   one more error of the corners; a larger one is that of a fit that does not sit on this tag. */
static const double MIN_PART = 0.25; /* of a step */
static const double LAST_STEP_PX = 0.05;
static const double LAST_STEP_PART = 0.5;
/* Of the first pass, from which edges start up to 2 px off. From FROZEN_PASS on edges that are left
   out stay so. */
enum { FIRST_STEPS = 4, FROZEN_PASS = 7, MAX_PASSES = 20, BLUR_PASSES = 6 };

enum { MAX_EDGES = 2 * TR_TAG_MAX_CELLS * TR_TAG_MAX_CELLS };
/* Unknowns of a tag: its corners, its bend (together what moves its edges), and the bleeds. */
enum { N_BEND = 3, BEND = 8, N_MOVES = BEND + N_BEND, BLEED = N_MOVES, N_UNKNOWNS = BLEED + 2 };
/* What the edges of a family have in common: blur and the coefficients of the tone curve. */
enum { SHAPE = TR_EDGE_SIGMA, N_SHAPE = 1 + TR_EDGE_N_TONE, N_SHAPE_OF_TAG = 2 + TR_EDGE_N_TONE };
typedef struct {
    /* From the pattern; tag frame: x right, y up, unit one cell, origin at the centre. */
    tr_vec2 mid;
    bool is_upright; /* the edge runs along y, its normal along +x; else along x, normal +y */
    int polarity;    /* +1: white on the side of the normal */
    int before[2];   /* cells to the next parallel edge below / above it; polarity alternates */
    /* Colours about it, 1 white: of the cells before it, beside it and after it along the edge
       (0..2), and of the two below and the two above it (0..3). */
    float colour[3][4];
    /* Measured. */
    bool is_possible; /* large enough and in the image */
    bool is_measured, is_used;
    double offset_px; /* along the image of the normal */
    double sd_px;
    double cell_px; /* height of a cell across the edge */
    double contrast;
    /* Gauss-Newton sums of the shape (N_SHAPE), for all edges together. */
    double shape_slope[N_SHAPE], shape_weight[N_SHAPE * N_SHAPE];
    tr_vec2 normal; /* unit, in the image, pointing the way of the tag's normal */
} edge;

typedef struct {
    const tr_image *image;
    const tr_lens *lens;
    int border;
    tr_vec2 corner_px[4]; /* of the tag's plane */
    tr_mat3 H;            /* tag plane to ideal image plane, homogeneous ... */
    tr_vec3 up;           /* ... and what a cell above the plane adds to that */
    double bend[N_BEND];  /* heights over the plane, see bend_shape */
    /* Shape of all edges: blur of each family, tone curve, and by how much white still grows. */
    double sigma_px[2];
    double tone[TR_EDGE_N_TONE];
    double bleed_px[2];
    double shape_step[N_SHAPE_OF_TAG]; /* the last one, and by what part it is taken */
    double shape_part[N_SHAPE_OF_TAG];
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

/* The same where cells that are not known go on as the nearest one across, or along, the edge. */
static double colour_about(const tr_tag_pattern *p, int i, int j, int across, int along,
                           bool is_upright) {
    int nearest = across < 0 ? -1 : 0;
    const int tries[3][2] = {{across, along}, {nearest, along}, {nearest, 0}};
    for (int k = 0; k < 3; k++) {
        int a = tries[k][0];
        int b = tries[k][1];
        int c = is_upright ? colour(p, i + a, j + b) : colour(p, i + b, j + a);
        if (c >= 0) return c;
    }
    return 0;
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
                for (int t = 0; t < 3; t++) {
                    for (int n = 0; n < 4; n++) {
                        e->colour[t][n] = (float)colour_about(p, i, j, n - 2, t - 1, is_upright);
                    }
                }
            }
        }
    }
}

/* ---- geometry ---- */

/* What the coefficients of the bend are multiplied by to give the height over the tag's plane, in
   cells: those of a cylinder along y and of one along x are 0 at the corners, and the third lifts
   two corners that face each other and lowers the others. */
static void bend_shape(int border, tr_vec2 p, double shape[N_BEND]) {
    double x = 2 * p.x / border;
    double y = 2 * p.y / border;
    shape[0] = border * (1 - x * x);
    shape[1] = border * (1 - y * y);
    shape[2] = border * x * y;
}

static bool homography_of(const fit *f, const tr_vec2 corner_px[4], tr_mat3 *H) {
    tr_vec2 from[4];
    tr_vec2 to[4];
    for (int k = 0; k < 4; k++) {
        from[k] = corner_in_cells(f->border, k);
        if (!tr_lens_undistort(f->lens, corner_px[k], &to[k])) return false;
    }
    return tr_homography_fit(from, to, 4, H);
}

/* The plane's third axis: the first two are the columns of H, at right angles and equally long, as
   the lens is known. */
static void find_up(fit *f) {
    tr_vec3 x = tr_v3(f->H.m[0][0], f->H.m[1][0], f->H.m[2][0]);
    tr_vec3 y = tr_v3(f->H.m[0][1], f->H.m[1][1], f->H.m[2][1]);
    f->up = tr_v3_scale(1 / sqrt(tr_v3_norm(x) * tr_v3_norm(y)), tr_v3_cross(x, y));
}

/* A point of the tag on the ideal image plane. by_height: how it moves with its height, may be
   NULL. */
static bool to_ideal(const fit *f, tr_vec2 p, tr_vec2 *xy, tr_vec2 *by_height) {
    double shape[N_BEND];
    double height = 0;
    bend_shape(f->border, p, shape);
    for (int k = 0; k < N_BEND; k++) height += f->bend[k] * shape[k];
    tr_vec3 q = tr_v3_add(tr_m3_apply(f->H, tr_v3(p.x, p.y, 1)), tr_v3_scale(height, f->up));
    if (!(fabs(q.z) > 1e-12)) return false;
    *xy = tr_v2(q.x / q.z, q.y / q.z);
    if (by_height) {
        *by_height = tr_v2((f->up.x - xy->x * f->up.z) / q.z, (f->up.y - xy->y * f->up.z) / q.z);
    }
    return true;
}

/* Pixel of a point of the tag. */
static bool to_pixel(const fit *f, tr_vec2 p, tr_vec2 *uv) {
    tr_vec2 xy;
    return to_ideal(f, p, &xy, NULL) && tr_lens_distort(f->lens, xy, uv, NULL);
}

/* J: px per cell, 2 x 2 by rows. A bend turns that by next to nothing. */
static bool to_pixel_slopes(const fit *f, tr_vec2 p, tr_vec2 *uv, double J[4]) {
    tr_vec2 xy;
    double Jh[4];
    double Jd[4];
    if (!tr_homography_apply(f->H, p, &xy, Jh) || !to_ideal(f, p, &xy, NULL) ||
        !tr_lens_distort(f->lens, xy, uv, Jd)) {
        return false;
    }
    J[0] = Jd[0] * Jh[0] + Jd[1] * Jh[2];
    J[1] = Jd[0] * Jh[1] + Jd[1] * Jh[3];
    J[2] = Jd[2] * Jh[0] + Jd[3] * Jh[2];
    J[3] = Jd[2] * Jh[1] + Jd[3] * Jh[3];
    return true;
}

/* ---- one edge ---- */

typedef struct {
    tr_vec2 centre;        /* of the edge, px */
    double to_along[2];    /* pixel offset to cells along the edge */
    double to_across[2];   /* pixel offset to px along the normal */
    double cell_px[2];     /* height of the cell below and of that above the edge */
    double sigma_along;    /* blur of the edges that cross this one, cells along it */
    double skew;           /* cosine between the normals of the edge and of those that cross it */
    double expected;       /* offset that the bleed makes */
    double lo, hi;         /* window across, px; along it is the cell's own edge */
    double half_u, half_v; /* of the window's bounding box about the centre, px */
    double n_pixels;       /* in the window, on average */
} edge_window;

/* Height of the next cell below (side -1) or above (1) an edge, px along its normal. */
static double height_of_cell(const fit *f, const edge *e, tr_vec2 centre, int side) {
    tr_vec2 next;
    tr_vec2 p = tr_v2_add(e->mid, e->is_upright ? tr_v2(side, 0) : tr_v2(0, side));
    if (!to_pixel(f, p, &next)) return 0;
    return side * tr_v2_dot(e->normal, tr_v2_sub(next, centre));
}

static bool make_edge_window(const fit *f, edge *e, edge_window *w) {
    double J[4];
    if (!to_pixel_slopes(f, e->mid, &w->centre, J)) return false;
    tr_vec2 ax = tr_v2(J[0], J[2]);
    tr_vec2 ay = tr_v2(J[1], J[3]);
    tr_vec2 along = e->is_upright ? ay : ax;
    tr_vec2 across = e->is_upright ? ax : ay;
    double length = tr_v2_norm(along);
    double det = tr_v2_cross(along, across);
    if (!(length >= MIN_CELL_PX) || det == 0.0) return false;
    tr_vec2 normal = tr_v2(-along.y / length, along.x / length);
    if (tr_v2_dot(normal, across) < 0) normal = tr_v2_scale(-1, normal);
    e->normal = normal;
    for (int k = 0; k < 2; k++) w->cell_px[k] = height_of_cell(f, e, w->centre, k ? 1 : -1);
    e->cell_px = fmin(w->cell_px[0], w->cell_px[1]);
    if (!(e->cell_px >= MIN_CELL_PX)) return false;
    /* Offset q = alpha along + beta across. */
    w->to_along[0] = across.y / det;
    w->to_along[1] = -across.x / det;
    w->to_across[0] = normal.x;
    w->to_across[1] = normal.y;
    double reach = fmax(WINDOW_MIN_PX, WINDOW_SIGMAS * f->sigma_px[!e->is_upright]);
    /* Where white has grown, the edge lies on the black side, and the cells have changed. */
    w->expected = -e->polarity * f->bleed_px[!e->is_upright];
    for (int k = 0; k < 2; k++) {
        double growth = (k ? -2 : 2) * w->expected;
        if (w->cell_px[k] + growth > MIN_CELL_PX) w->cell_px[k] += growth;
    }
    w->lo = w->expected - fmin(reach, fmax(WINDOW_PART * e->before[0] * w->cell_px[0], 1.0));
    w->hi = w->expected + fmin(reach, fmax(WINDOW_PART * e->before[1] * w->cell_px[1], 1.0));
    w->sigma_along = f->sigma_px[e->is_upright] * tr_v2_norm(across) / fabs(det);
    /* Normal of the edges that cross this one, pointing along it. */
    double across_length = tr_v2_norm(across);
    tr_vec2 end = tr_v2(-across.y / across_length, across.x / across_length);
    if (tr_v2_dot(end, along) < 0) end = tr_v2_scale(-1, end);
    w->skew = tr_v2_dot(normal, end);
    double far = fmax(-w->lo, w->hi) * length / fabs(det); /* cells */
    w->half_u = fabs(along.x) / 2 + fabs(across.x) * far;
    w->half_v = fabs(along.y) / 2 + fabs(across.y) * far;
    w->n_pixels = length * (w->hi - w->lo);
    return w->n_pixels >= MIN_PIXELS;
}

/* The pixels of a row that lie in a strip lo <= at + slope u <= hi. */
static void narrow(double at, double slope, double lo, double hi, double *u0, double *u1) {
    if (fabs(slope) < 1e-12) {
        if (at < lo || at > hi) *u1 = -1;
        return;
    }
    double a = (lo - at) / slope;
    double b = (hi - at) / slope;
    *u0 = fmax(*u0, fmin(a, b));
    *u1 = fmin(*u1, fmax(a, b));
}

/* The pixels in the window, at even steps. */
static void gather_pixels(const fit *f, const edge_window *w, int most_pixels, double offset,
                          tr_edge_pixels *p) {
    double top = fmax(0, ceil(w->centre.y - w->half_v));
    double bottom = fmin(f->image->height - 1, floor(w->centre.y + w->half_v));
    int every = 1 + (int)fmin(w->n_pixels / most_pixels, MAX_STEP);
    int count = 0;
    p->n = 0;
    if (!(top <= bottom)) return; /* also where it lies too far out for an int */
    for (int v = (int)top; v <= (int)bottom; v++) {
        const uint8_t *row = tr_image_row(f->image, v);
        /* At pixel u of this row: */
        double along = w->to_along[1] * (v - w->centre.y) - w->to_along[0] * w->centre.x;
        double d = w->to_across[1] * (v - w->centre.y) - w->to_across[0] * w->centre.x;
        double from = 0;
        double to = f->image->width - 1;
        narrow(along, w->to_along[0], -0.5, 0.5, &from, &to);
        narrow(d, w->to_across[0], w->lo, w->hi, &from, &to);
        if (!(from <= to)) continue;
        for (int u = (int)ceil(from); u <= (int)to; u++) {
            if (count++ % every != 0) continue;
            if (p->n == TR_EDGE_MAX_PIXELS) return;
            p->along[p->n] = (float)(along + w->to_along[0] * u);
            p->across[p->n] = (float)(d + w->to_across[0] * u - offset);
            p->grey[p->n++] = (float)(row[u] - MIDDLE_GREY);
        }
    }
}

static tr_edge_model model_of(const fit *f, const edge *e, const edge_window *w) {
    tr_edge_model m = {.cell_px = {(float)w->cell_px[0], (float)w->cell_px[1]},
                       .sigma_px = (float)f->sigma_px[!e->is_upright],
                       .sigma_along = (float)w->sigma_along,
                       .skew = (float)w->skew};
    memcpy(m.colour, e->colour, sizeof m.colour);
    for (int k = 0; k < TR_EDGE_N_TONE; k++) m.tone[k] = (float)f->tone[k];
    return m;
}

/* Sums over the window's pixels of the products of all that a grey value is made of. Half of the
   matrix, row >= column. */
typedef struct {
    double sum[TR_EDGE_N_BASIS][TR_EDGE_N_BASIS];
    int n;
} moments;

/* Eliminates b, a and the offset: what is left from row SHAPE on are the normal equations of the
 * rest. False where they are not determined. */
static bool eliminate(moments *m) {
    for (int k = 0; k < SHAPE; k++) {
        double pivot = m->sum[k][k];
        if (!(pivot > 1e-9 * m->n)) return false;
        for (int i = k + 1; i < TR_EDGE_N_BASIS; i++) {
            double factor = m->sum[i][k] / pivot;
            for (int j = k + 1; j <= i; j++) m->sum[i][j] -= factor * m->sum[j][k];
        }
    }
    return true;
}

/* Offset of one edge. False where there are too few pixels or no such edge. */
static bool measure_edge(const fit *f, edge *e, int n_steps, int most_pixels) {
    edge_window w;
    moments m;
    tr_edge_pixels pixels;
    tr_edge_basis basis;
    double step = 0;
    e->is_possible = make_edge_window(f, e, &w);
    if (!e->is_possible) return false;
    tr_edge_model model = model_of(f, e, &w);
    /* Beyond the blur the profile is flat and says nothing about where the edge is. */
    const double limit = 0.8 * f->sigma_px[!e->is_upright] + 0.3;
    e->offset_px = w.expected;
    for (int k = 0; k < n_steps; k++) {
        gather_pixels(f, &w, most_pixels, e->offset_px, &pixels);
        tr_edge_model_basis(&model, &pixels, basis);
        tr_edge_products(basis, pixels.n, m.sum);
        m.n = pixels.n;
        if (m.n < MIN_PIXELS || !eliminate(&m)) return false;
        /* Back from the last of the three: the offset times the step to white, then that step. */
        double place = m.sum[TR_EDGE_GREY][TR_EDGE_PLACE] / m.sum[TR_EDGE_PLACE][TR_EDGE_PLACE];
        e->contrast =
            (m.sum[TR_EDGE_GREY][TR_EDGE_STEP] - m.sum[TR_EDGE_PLACE][TR_EDGE_STEP] * place) /
            m.sum[TR_EDGE_STEP][TR_EDGE_STEP];
        if (!(e->contrast > MIN_CONTRAST))
            return false; /* also where black and white are exchanged */
        step = place / e->contrast;
        e->offset_px += fmax(-limit, fmin(limit, step));
    }
    if (fabs(e->offset_px - w.expected) > 2 * limit) return false;
    double a2 = e->contrast * e->contrast;
    double variance = fmax(m.sum[TR_EDGE_GREY][TR_EDGE_GREY] / fmax(1, m.n - 3), 0.25);
    e->sd_px = sqrt(variance / (m.sum[TR_EDGE_PLACE][TR_EDGE_PLACE] * a2));
    for (int i = 0; i < N_SHAPE; i++) {
        e->shape_slope[i] = e->contrast * m.sum[TR_EDGE_GREY][SHAPE + i] / variance;
        for (int j = 0; j <= i; j++) {
            double weight = a2 * m.sum[SHAPE + i][SHAPE + j] / variance;
            e->shape_weight[N_SHAPE * i + j] = e->shape_weight[N_SHAPE * j + i] = weight;
        }
    }
    return e->sd_px < 1;
}

/* ---- all edges ---- */

/* is_frozen: no edge comes back that was left out before. */
static void measure_edges(fit *f, int n_steps, int most_pixels, bool is_frozen) {
    for (int i = 0; i < f->n_edges; i++) {
        edge *e = &f->edges[i];
        e->is_measured = measure_edge(f, e, n_steps, most_pixels);
        e->is_used = e->is_measured && (e->is_used || !is_frozen);
    }
}

/* One step of the shape, from all edges: the blur of each family, one tone curve. */
static void update_shape(fit *f) {
    enum { N = N_SHAPE_OF_TAG };
    double A[N * N] = {0};
    double x[N] = {0};
    for (int i = 0; i < f->n_edges; i++) {
        const edge *e = &f->edges[i];
        if (!e->is_used) continue;
        for (int k = 0; k < N_SHAPE; k++) {
            int a = k == 0 ? !e->is_upright : 1 + k;
            x[a] += e->shape_slope[k];
            for (int l = 0; l < N_SHAPE; l++) {
                int b = l == 0 ? !e->is_upright : 1 + l;
                A[N * a + b] += e->shape_weight[N_SHAPE * k + l];
            }
        }
    }
    for (int k = 0; k < N; k++) {
        /* Without a prior the blur of a family that has no edge would be undetermined. */
        A[N * k + k] += k < 2 ? 1e-3 : 1 / (TONE_SD * TONE_SD);
        if (k >= 2) x[k] -= f->tone[k - 2] / (TONE_SD * TONE_SD);
    }
    if (!tr_dense_solve(A, x, N)) return;
    for (int k = 0; k < N; k++) {
        double most = k < 2 ? fmax(0.3, 0.4 * f->sigma_px[k]) : 0.4;
        double *value = k < 2 ? &f->sigma_px[k] : &f->tone[k - 2];
        double least = k < 2 ? MIN_SIGMA_PX : -TONE_LIMIT;
        /* A value that swings takes smaller steps each time. */
        if (x[k] * f->shape_step[k] < 0) f->shape_part[k] *= 0.5;
        f->shape_step[k] = x[k];
        *value += f->shape_part[k] * fmax(-most, fmin(most, x[k]));
        *value = fmax(least, fmin(k < 2 ? MAX_SIGMA_PX : TONE_LIMIT, *value));
    }
}

/* How far an edge moves along its normal, px: by its place on the ideal image plane, and by each
   coefficient of the bend. */
static bool move_by_place(const fit *f, const edge *e, tr_vec2 *slope, double by_bend[N_BEND]) {
    tr_vec2 xy;
    tr_vec2 uv;
    tr_vec2 by_height;
    double Jd[4];
    if (!to_ideal(f, e->mid, &xy, &by_height) || !tr_lens_distort(f->lens, xy, &uv, Jd)) {
        return false;
    }
    *slope =
        tr_v2(e->normal.x * Jd[0] + e->normal.y * Jd[2], e->normal.x * Jd[1] + e->normal.y * Jd[3]);
    bend_shape(f->border, e->mid, by_bend);
    for (int k = 0; k < N_BEND; k++) by_bend[k] *= tr_v2_dot(*slope, by_height);
    return true;
}

/* How an edge's predicted place along its normal moves with each corner coordinate (differences of
   the homography, since each corner acts on the whole map) and with the bend. */
static bool edge_jacobian(const fit *f, double (*J)[N_MOVES]) {
    const double h = 1e-3; /* px: rounding 1e-13/1e-3, curvature 1e-6 */
    tr_mat3 H[8][2];
    for (int k = 0; k < 8; k++) {
        for (int side = 0; side < 2; side++) {
            tr_vec2 c[4];
            memcpy(c, f->corner_px, sizeof c);
            double *value = k % 2 ? &c[k / 2].y : &c[k / 2].x;
            *value += side ? h : -h;
            if (!homography_of(f, c, &H[k][side])) return false;
        }
    }
    for (int i = 0; i < f->n_edges; i++) {
        const edge *e = &f->edges[i];
        tr_vec2 slope;
        if (!e->is_possible) continue;
        if (!move_by_place(f, e, &slope, &J[i][BEND])) return false;
        for (int k = 0; k < 8; k++) {
            tr_vec2 a;
            tr_vec2 b;
            if (!tr_homography_apply(H[k][0], e->mid, &a, NULL) ||
                !tr_homography_apply(H[k][1], e->mid, &b, NULL)) {
                return false;
            }
            J[i][k] = tr_v2_dot(slope, tr_v2_sub(b, a)) / (2 * h);
        }
    }
    return true;
}

static double edge_variance(const edge *e) {
    double lowness = fmax(1, LOW_CELL_PX / e->cell_px);
    double floor_px = EDGE_FLOOR_PX * lowness * lowness;
    return e->sd_px * e->sd_px + floor_px * floor_px;
}

/* What the step leaves of an edge's offset. */
static double residual(const edge *e, const double J[N_MOVES], const double x[N_UNKNOWNS]) {
    double r = e->offset_px + e->polarity * x[BLEED + !e->is_upright];
    for (int a = 0; a < N_MOVES; a++) r -= J[a] * x[a];
    return r;
}

/* All unknowns from the edges' offsets. x: the step of corners and bend, and the bleeds. C:
   covariance of x, may be NULL. The bleeds get a prior of 1 px: they are never larger. */
static bool solve_unknowns(const fit *f, double (*J)[N_MOVES], double x[N_UNKNOWNS], double *C,
                           double *chi2, int *n_used) {
    const double bend_weight = 1 / (BEND_SD * BEND_SD);
    double A[N_UNKNOWNS * N_UNKNOWNS] = {0};
    memset(x, 0, N_UNKNOWNS * sizeof *x);
    for (int k = BLEED; k < N_UNKNOWNS; k++) A[k * (N_UNKNOWNS + 1)] = 1;
    for (int k = 0; k < N_BEND; k++) {
        A[(BEND + k) * (N_UNKNOWNS + 1)] = bend_weight;
        x[BEND + k] = -bend_weight * f->bend[k];
    }
    *n_used = 0;
    for (int i = 0; i < f->n_edges; i++) {
        const edge *e = &f->edges[i];
        if (!e->is_used) continue;
        double row[N_UNKNOWNS] = {0};
        double w = 1 / edge_variance(e);
        memcpy(row, J[i], N_MOVES * sizeof *row);
        row[BLEED + !e->is_upright] = -e->polarity;
        for (int a = 0; a < N_UNKNOWNS; a++) {
            x[a] += w * row[a] * e->offset_px;
            for (int b = 0; b <= a; b++) A[a * N_UNKNOWNS + b] += w * row[a] * row[b];
        }
        (*n_used)++;
    }
    double L[N_UNKNOWNS * N_UNKNOWNS];
    memcpy(L, A, sizeof L);
    if (!tr_dense_solve(L, x, N_UNKNOWNS)) return false;
    *chi2 = 0;
    for (int i = 0; i < f->n_edges; i++) {
        const edge *e = &f->edges[i];
        if (!e->is_used) continue;
        double r = residual(e, J[i], x);
        *chi2 += r * r / edge_variance(e);
    }
    if (!C) return true;
    for (int k = 0; k < N_UNKNOWNS; k++) {
        double unit[N_UNKNOWNS] = {0};
        unit[k] = 1;
        memcpy(L, A, sizeof L);
        if (!tr_dense_solve(L, unit, N_UNKNOWNS)) return false;
        for (int a = 0; a < N_UNKNOWNS; a++) C[a * N_UNKNOWNS + k] = unit[a];
    }
    return true;
}

/* Leaves out the edges that disagree with the fit by far more than the others do. */
static int drop_outliers(fit *f, double (*J)[N_MOVES], const double x[N_UNKNOWNS]) {
    double size[MAX_EDGES];
    double scratch[MAX_EDGES];
    int n = 0;
    int dropped = 0;
    for (int i = 0; i < f->n_edges; i++) {
        const edge *e = &f->edges[i];
        if (!e->is_measured) continue;
        size[i] = fabs(residual(e, J[i], x)) / sqrt(edge_variance(e));
        if (e->is_used) scratch[n++] = size[i];
    }
    /* 1.4826 times the median of absolute values is the sd of a normal distribution. */
    double scale = fmax(1, 1.4826 * tr_median(scratch, n));
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

/* At least half of the edges that could be measured agree, and at least eight of each family: 8
   corner coordinates and 2 bleeds are to be found from them. Of the inner edges, which tell one
   tag from another, three quarters must: another tag's pattern, or this one turned by a quarter,
   shares about one in four. */
static bool is_enough(const fit *f, bool is_first, int *n_possible) {
    int used[2] = {0, 0};
    int inner_used = 0;
    int inner_possible = 0;
    int possible = 0;
    for (int i = 0; i < f->n_edges; i++) {
        const edge *e = &f->edges[i];
        bool is_inner = !is_outline(f, e);
        used[!e->is_upright] += e->is_used;
        possible += e->is_possible;
        inner_used += e->is_used && is_inner;
        inner_possible += e->is_possible && is_inner;
    }
    *n_possible = possible;
    if (used[0] < 8 || used[1] < 8) return false;
    /* From a start that is off, other edges may be nearer than the right ones. */
    if (is_first) return true;
    return 2 * (used[0] + used[1]) >= possible && 4 * inner_used >= 3 * inner_possible;
}

static bool is_blurred(const fit *f) {
    double cell_px = INFINITY;
    for (int i = 0; i < f->n_edges; i++) {
        if (f->edges[i].is_possible) cell_px = fmin(cell_px, f->edges[i].cell_px);
    }
    return fmax(f->sigma_px[0], f->sigma_px[1]) > TR_TAG_BLURRED_CELLS * cell_px;
}

/* Why a tag's edges are not enough. */
static tr_tag_outcome why_not_enough(fit *f, int n_possible) {
    double most_contrast = 0;
    for (int k = 0; k < 4; k++) {
        tr_vec2 c = f->corner_px[k];
        bool is_inside =
            c.x >= 0 && c.y >= 0 && c.x <= f->image->width - 1 && c.y <= f->image->height - 1;
        if (!is_inside) return TR_TAG_OFF_IMAGE;
    }
    if (2 * n_possible < f->n_edges) return TR_TAG_TOO_SMALL;
    for (int i = 0; i < f->n_edges; i++) {
        const edge *e = &f->edges[i];
        if (e->is_possible) most_contrast = fmax(most_contrast, e->contrast);
    }
    if (most_contrast < 2 * MIN_CONTRAST) return TR_TAG_FAINT;
    /* How wide the edges are is not known in a first pass. */
    for (int k = 0; k < BLUR_PASSES && !is_blurred(f); k++) {
        update_shape(f);
        measure_edges(f, 1, MAX_PIXELS, false);
    }
    return is_blurred(f) ? TR_TAG_BLURRED : TR_TAG_UNLIKE;
}

/* The length of a step that turned back on the last one: where the secant through both is zero. */
static double secant_part(const double last[N_UNKNOWNS], const double x[N_UNKNOWNS], double part) {
    double forth = 0;
    double square = 0;
    for (int k = 0; k < 8; k++) {
        double change = last[k] - x[k];
        forth += last[k] * change;
        square += change * change;
    }
    return square > 0 ? fmax(MIN_PART, fmin(1, part * forth / square)) : 1;
}

/* The tag's own corners, from those of its plane and the bend, and how each of their coordinates
   moves with the bend. */
static bool find_corners(const fit *f, tr_vec2 corner_px[4], double (*by_bend)[N_BEND]) {
    for (int k = 0; k < 4; k++) {
        tr_vec2 p = corner_in_cells(f->border, k);
        tr_vec2 xy;
        tr_vec2 by_height;
        double Jd[4];
        double shape[N_BEND];
        if (!to_ideal(f, p, &xy, &by_height) || !tr_lens_distort(f->lens, xy, &corner_px[k], Jd)) {
            return false;
        }
        bend_shape(f->border, p, shape);
        for (int b = 0; b < N_BEND; b++) {
            by_bend[2 * k][b] = shape[b] * (Jd[0] * by_height.x + Jd[1] * by_height.y);
            by_bend[2 * k + 1][b] = shape[b] * (Jd[2] * by_height.x + Jd[3] * by_height.y);
        }
    }
    return true;
}

/* largest: by how much the tag's own corners move most. */
static bool apply_step(fit *f, const double x[N_UNKNOWNS], double part, double *largest) {
    tr_vec2 corner_px[4];
    double by_bend[8][N_BEND];
    *largest = 0;
    if (!find_corners(f, corner_px, by_bend)) return false;
    for (int k = 0; k < 4; k++) {
        tr_vec2 step = tr_v2(x[2 * k], x[2 * k + 1]);
        f->corner_px[k] = tr_v2_add(f->corner_px[k], tr_v2_scale(part, step));
        for (int b = 0; b < N_BEND; b++) {
            step.x += by_bend[2 * k][b] * x[BEND + b];
            step.y += by_bend[2 * k + 1][b] * x[BEND + b];
        }
        *largest = fmax(*largest, tr_v2_norm(step));
    }
    /* The edges' offsets hold the whole of it, as they do not know of it. */
    for (int k = 0; k < 2; k++) f->bleed_px[k] = x[BLEED + k];
    for (int k = 0; k < N_BEND; k++) f->bend[k] += part * x[BEND + k];
    return true;
}

/* By how much white grows: where the curve is half-way between black and white, and what is left.
 */
static double whole_bleed(const fit *f, int family) {
    float tone[TR_EDGE_N_TONE];
    for (int k = 0; k < TR_EDGE_N_TONE; k++) tone[k] = (float)f->tone[k];
    double half = tr_edge_half_light(tone);
    double z = -4; /* of the normal distribution, where it has half */
    for (int k = 0; k < 23; k++) {
        double step = ldexp(4, -k);
        z += erfc(-(z + step) / sqrt(2)) / 2 < half ? step : 0;
    }
    return f->bleed_px[family] - z * f->sigma_px[family];
}

/* B C B', with B = [1 by_bend]. */
static void corner_covariance(double (*by_bend)[N_BEND], const double *C, double out[8 * 8]) {
    double BC[8][N_MOVES];
    for (int i = 0; i < 8; i++) {
        for (int j = 0; j < N_MOVES; j++) {
            BC[i][j] = C[i * N_UNKNOWNS + j];
            for (int b = 0; b < N_BEND; b++) {
                BC[i][j] += by_bend[i][b] * C[(BEND + b) * N_UNKNOWNS + j];
            }
        }
    }
    for (int i = 0; i < 8; i++) {
        for (int j = 0; j < 8; j++) {
            out[8 * i + j] = BC[i][j];
            for (int b = 0; b < N_BEND; b++) out[8 * i + j] += BC[i][BEND + b] * by_bend[j][b];
        }
    }
}

/* Of the corners: what the edges' scatter says (corners, 8 x 8), and what no scatter shows. */
static void fill_covariance(const fit *f, const double corners[8 * 8], double last_step_px,
                            tr_tag_fit *out) {
    double inward[8];
    double cell_px = INFINITY;
    tr_vec2 centre = tr_v2(0, 0);
    for (int i = 0; i < f->n_edges; i++) {
        if (f->edges[i].is_used) cell_px = fmin(cell_px, f->edges[i].cell_px);
    }
    double inward_px = hypot(INWARD_FLOOR_PX2 / cell_px, INWARD_PART * out->rms_px);
    for (int k = 0; k < 4; k++) centre = tr_v2_add(centre, tr_v2_scale(0.25, f->corner_px[k]));
    for (int k = 0; k < 4; k++) {
        tr_vec2 d = tr_v2_sub(centre, f->corner_px[k]);
        d = tr_v2_scale(inward_px / tr_v2_norm(d), d);
        inward[2 * k] = d.x;
        inward[2 * k + 1] = d.y;
    }
    for (int i = 0; i < 8; i++) {
        for (int j = 0; j < 8; j++) {
            out->covariance[8 * i + j] = corners[8 * i + j] + inward[i] * inward[j];
        }
        out->covariance[9 * i] +=
            CORNER_FLOOR_PX * CORNER_FLOOR_PX + last_step_px * last_step_px / 2;
    }
}

/* What the edges say of the light. */
static void fill_statistics(const fit *f, double (*J)[N_MOVES], const double x[N_UNKNOWNS],
                            tr_tag_fit *out) {
    double contrast[MAX_EDGES];
    int n = 0;
    double sum = 0;
    for (int i = 0; i < f->n_edges; i++) {
        const edge *e = &f->edges[i];
        if (!e->is_used) continue;
        double r = residual(e, J[i], x);
        sum += r * r;
        contrast[n++] = e->contrast;
    }
    out->rms_px = sqrt(sum / n);
    out->contrast = tr_median(contrast, n);
    out->n_edges = n;
    for (int k = 0; k < 2; k++) out->bleed_px[k] = whole_bleed(f, k);
    memcpy(out->sigma_px, f->sigma_px, sizeof out->sigma_px);
}

/* One pass: edges from the corners, corners from the edges. */
static tr_tag_outcome run_pass(fit *f, int pass, double (*J)[N_MOVES], double x[N_UNKNOWNS],
                               double largest, int *n_possible) {
    double chi2;
    int n_used;
    if (!homography_of(f, f->corner_px, &f->H)) return TR_TAG_UNLIKE;
    find_up(f);
    measure_edges(f, pass == 0 ? FIRST_STEPS : 1, pass < FIRST_PASSES ? FIRST_PIXELS : MAX_PIXELS,
                  pass >= FROZEN_PASS);
    if (!is_enough(f, pass == 0, n_possible)) return why_not_enough(f, *n_possible);
    if (largest > JACOBIAN_PX && !edge_jacobian(f, J)) return TR_TAG_UNLIKE;
    if (!solve_unknowns(f, J, x, NULL, &chi2, &n_used)) return TR_TAG_UNLIKE;
    if (pass >= FROZEN_PASS) return TR_TAG_MEASURED;
    for (int again = 0; again < 3 && drop_outliers(f, J, x) > 0; again++) {
        if (!solve_unknowns(f, J, x, NULL, &chi2, &n_used)) return TR_TAG_UNLIKE;
    }
    return is_enough(f, pass == 0, n_possible) ? TR_TAG_MEASURED : why_not_enough(f, *n_possible);
}

/* The tag's corners and their covariance, where its last step is small enough. */
static tr_tag_outcome finish(const fit *f, double (*J)[N_MOVES], double x[N_UNKNOWNS],
                             double last_step_px, tr_tag_fit *out) {
    double C[N_UNKNOWNS * N_UNKNOWNS];
    double by_bend[8][N_BEND];
    double corners[8 * 8];
    double chi2;
    double sd_px = 0;
    int n_used;
    if (is_blurred(f)) return TR_TAG_BLURRED;
    if (!solve_unknowns(f, J, x, C, &chi2, &n_used) || !find_corners(f, out->corner_px, by_bend)) {
        return TR_TAG_UNLIKE;
    }
    double factor = fmax(1, chi2 / fmax(1, n_used - N_UNKNOWNS));
    corner_covariance(by_bend, C, corners);
    for (int k = 0; k < 64; k++) corners[k] *= factor;
    for (int k = 0; k < 8; k++) sd_px = fmax(sd_px, sqrt(corners[9 * k]));
    if (!(last_step_px < fmax(LAST_STEP_PX, LAST_STEP_PART * sd_px))) return TR_TAG_UNSETTLED;
    fill_statistics(f, J, x, out);
    fill_covariance(f, corners, last_step_px, out);
    return TR_TAG_MEASURED;
}

static tr_tag_outcome run_fit(fit *f, const tr_vec2 start_px[4], double cell_px, tr_tag_fit *out) {
    double J[MAX_EDGES][N_MOVES];
    double x[N_UNKNOWNS] = {0};
    double last[N_UNKNOWNS];
    double part = 1;
    double largest = INFINITY;
    memcpy(f->corner_px, start_px, sizeof f->corner_px);
    f->sigma_px[0] = f->sigma_px[1] =
        fmax(START_SIGMA_PX, fmin(START_SIGMA_MAX_PX, START_SIGMA_CELLS * cell_px));
    for (int k = 0; k < N_SHAPE_OF_TAG; k++) f->shape_part[k] = 1;
    for (int pass = 0; pass < MAX_PASSES; pass++) {
        memcpy(last, x, sizeof last);
        tr_tag_outcome outcome = run_pass(f, pass, J, x, largest, &out->n_possible);
        if (outcome != TR_TAG_MEASURED) return outcome;
        part = pass > 1 ? secant_part(last, x, part) : 1;
        update_shape(f);
        if (!apply_step(f, x, part, &largest)) return TR_TAG_UNLIKE;
        if (pass < FIRST_PASS_TO_SETTLE) continue;
        if (largest < (pass < LATE_PASS ? SETTLED_PX : LATE_SETTLED_PX)) break;
    }
    return finish(f, J, x, largest, out);
}

/* Height of the lowest cell of the tag's middle, px. */
static double lowest_cell(fit *f, const tr_vec2 start_px[4]) {
    tr_vec2 uv;
    double J[4];
    if (!homography_of(f, start_px, &f->H) || !to_pixel_slopes(f, tr_v2(0, 0), &uv, J)) return 0;
    return fabs(J[0] * J[3] - J[1] * J[2]) / fmax(hypot(J[0], J[2]), hypot(J[1], J[3]));
}

bool tr_tag_measure(const tr_image *image, const tr_lens *lens, const tr_tag_pattern *pattern,
                    const tr_vec2 start_px[4], tr_tag_fit *out) {
    fit f = {.image = image, .lens = lens, .border = pattern->border};
    memset(out, 0, sizeof *out);
    double cell_px = lowest_cell(&f, start_px);
    if (!(cell_px >= MIN_WHOLE_CELL_PX))
        out->outcome = TR_TAG_TOO_SMALL;
    else if (cell_px < SMALL_CELL_PX)
        out->outcome = tr_small_tag_measure(image, lens, pattern, start_px, out);
    else {
        list_edges(pattern, &f);
        out->outcome = run_fit(&f, start_px, cell_px, out);
    }
    return out->outcome == TR_TAG_MEASURED;
}
