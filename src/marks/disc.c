#include "marks/disc.h"

#include <math.h>
#include <string.h>

#include "geom/dense.h"
#include "lens/planar.h"
#include "marks/edge_model.h"
#include "marks/lanes.h"

/* The window, to either side of the edge: beyond the blur and what sharpening leaves, pixels only
   tell black from white. */
static const double WINDOW_SIGMAS = 3.6;
static const double WINDOW_MIN_PX = 3.0;
static const double WINDOW_OF_ROOM = 0.8;
static const double START_SIGMA_PX = 0.9;
static const double MIN_SIGMA_PX = 0.3; /* a pixel's own box is 0.29 */
static const double MAX_SIGMA_PX = 6;
static const double MIN_CONTRAST = 12;
static const double MAX_SD_PX = 0.5;
/* Of the image's height, at most: beyond it no edge is left. */
static const double MAX_SIGMA_OF_HEIGHT = 0.6;

/* The fit's rms as a part of the contrast, of all pixels and of a twelfth of the edge. */
static const double MAX_RMS_PART = 0.12;
static const double MAX_SECTOR_RMS_PART = 0.2;
/* By how much a twelfth of the edge may lie off the circle: px, or a part of the radius. */
static const double MAX_SECTOR_PX = 0.3;
static const double MAX_SECTOR_PART = 0.04;
/* By how much a disc may be larger or smaller than its sheet says: ink and bleed, and the error of
   the predicted distance. */
static const double MAX_GROWTH_PX = 1.2;
static const double MAX_GROWTH_PART = 0.12;

/* What is known beforehand (sd): growth in px and as a part of the radius, slopes, parts of the
   blur that are not round, coefficients of the tone curve, rim, and shade and fade as a part of the
   contrast: a floor, and a part a px, up to a limit; beside grey values that the model meets to
   PIXEL_SD_PART of the contrast. */
static const double GROWTH_SD_PX = 0.5;
static const double GROWTH_SD_PART = 0.03;
/* Seen from the front, a tilt looks like a shift by radius^2 / focal length of it (px), and no edge
   tells them apart: 0.6 degrees are what paper bends, and more than a pose from some tags is off.
 */
static const double SLOPE_SD = 0.01;
static const double STRETCH_SD = 0.3;
static const double TONE_SD = 0.8;
static const double RIM_SD = 0.3;
static const double SHADE_SD_FLOOR = 0.01;
static const double SHADE_SD_PER_PX = 0.004;
static const double SHADE_SD_LIMIT = 0.1;
static const double PIXEL_SD_PART = 0.03;
static const double MAX_STRETCH = 0.9;
static const double MAX_SLOPE = 0.15;
static const double TONE_LIMIT = 1.6;

enum {
    U, /* px, by which the centre is moved on the sheet: as its image moves */
    V,
    GROWTH, /* px along the longer axis */
    SLOPE_X,
    SLOPE_Y,
    SIGMA, /* the blur's covariance is SIGMA^2 [1 + STRETCH, SKEW; SKEW, 1 - STRETCH] */
    STRETCH,
    SKEW,
    TONE,
    RIM = TONE + TR_EDGE_N_TONE,
    LEVEL,
    STEP,
    SHADE_U,
    SHADE_V,
    FADE_U,
    FADE_V,
    N_PARAM,
    RESIDUAL = N_PARAM,
    WEIGHT,
    N_ROWS
};
enum { SHAPE = 5 }; /* the first unknowns move the edge */

/* ---- the projected edge ---- */

enum { MIN_NODES = 48, MAX_NODES = 4096 };
/* The trapezoidal rule on a closed curve errs by exp(-2 pi^2 (sigma / step)^2). */
static const double STEP_OF_SIGMA = 1.2;

typedef struct {
    int n;
    float x[MAX_NODES], y[MAX_NODES];   /* px from the fit's origin */
    float dx[MAX_NODES], dy[MAX_NODES]; /* along the edge, one node's part of it */
    float move[SHAPE][MAX_NODES];       /* by an unit of each of SHAPE: (move x edge), px^2 */
    float out_px[MAX_NODES];            /* how far it moves outward, px a mm of the radius */
} contour;

typedef struct {
    const tr_image *image;
    const tr_lens *lens;
    const tr_disc_view *view;
    tr_vec2 origin_px;  /* where the centre is predicted */
    double mm_of_px[4]; /* there: sheet from image, 2 x 2 by rows */
    double px_per_mm;   /* along the longer axis */
    double height_px;   /* across it */
    double size_px;     /* half the longer axis */
    double contrast;    /* about */
    double reach_px[2]; /* of the window: inside the edge, outside */
} fit;

typedef struct {
    tr_vec2 uv_px;
    double by_sheet[4]; /* px per mm on the sheet, 2 x 2 by rows */
    tr_vec2 by_height;  /* px per mm out of the sheet */
} sheet_point;

static bool project(const fit *f, tr_vec3 p_mm, sheet_point *out) {
    const tr_mat3 *R = &f->view->camera_from_sheet.R;
    double J[6];
    double column[2][3];
    if (!tr_lens_project(f->lens, tr_pose_apply(f->view->camera_from_sheet, p_mm), &out->uv_px, J,
                         NULL)) {
        return false;
    }
    for (int i = 0; i < 2; i++) {
        for (int k = 0; k < 3; k++) {
            column[i][k] =
                J[3 * i] * R->m[0][k] + J[3 * i + 1] * R->m[1][k] + J[3 * i + 2] * R->m[2][k];
        }
        out->by_sheet[2 * i] = column[i][0];
        out->by_sheet[2 * i + 1] = column[i][1];
    }
    out->by_height = tr_v2(column[0][2], column[1][2]);
    return true;
}

static tr_vec2 times(const double M[4], tr_vec2 v) {
    return tr_v2(M[0] * v.x + M[1] * v.y, M[2] * v.x + M[3] * v.y);
}

static tr_vec2 centre_on_sheet(const fit *f, const double p[N_PARAM]) {
    return tr_v2_add(f->view->centre_mm, times(f->mm_of_px, tr_v2(p[U], p[V])));
}

static double radius_mm(const fit *f, const double p[N_PARAM]) {
    return f->view->diameter_mm / 2 + p[GROWTH] / f->px_per_mm;
}

static void add_node(const fit *f, const sheet_point *at, tr_vec2 out, double turn, double radius,
                     const double p[N_PARAM], contour *c) {
    int i = c->n++;
    double rise_along = p[SLOPE_X] * -out.y + p[SLOPE_Y] * out.x;
    double rise_out = p[SLOPE_X] * out.x + p[SLOPE_Y] * out.y;
    tr_vec2 along = tr_v2_add(times(at->by_sheet, tr_v2(-out.y, out.x)),
                              tr_v2_scale(rise_along, at->by_height));
    tr_vec2 outward = tr_v2_add(times(at->by_sheet, out), tr_v2_scale(rise_out, at->by_height));
    tr_vec2 edge = tr_v2_scale(radius * turn, along);
    tr_vec2 move[SHAPE] = {
        [U] = times(at->by_sheet, tr_v2(f->mm_of_px[0], f->mm_of_px[2])),
        [V] = times(at->by_sheet, tr_v2(f->mm_of_px[1], f->mm_of_px[3])),
        [GROWTH] = tr_v2_scale(1 / f->px_per_mm, outward),
        [SLOPE_X] = tr_v2_scale(radius * out.x, at->by_height),
        [SLOPE_Y] = tr_v2_scale(radius * out.y, at->by_height),
    };
    c->x[i] = (float)(at->uv_px.x - f->origin_px.x);
    c->y[i] = (float)(at->uv_px.y - f->origin_px.y);
    c->dx[i] = (float)edge.x;
    c->dy[i] = (float)edge.y;
    /* Seen from the front the edge runs clockwise in the image's axes, v down: outward is to its
       left as (u, v) are written. */
    for (int k = 0; k < SHAPE; k++) c->move[k][i] = (float)-tr_v2_cross(move[k], edge);
    c->out_px[i] = (float)(-tr_v2_cross(outward, edge) / tr_v2_norm(edge));
}

static double narrow_sigma(const double p[N_PARAM]) {
    return p[SIGMA] * sqrt(1 - hypot(p[STRETCH], p[SKEW]));
}

static double wide_sigma(const double p[N_PARAM]) {
    return p[SIGMA] * sqrt(1 + hypot(p[STRETCH], p[SKEW]));
}

/* False where a part of it is behind the camera or beyond the lens model. */
static bool make_contour(const fit *f, const double p[N_PARAM], contour *c) {
    tr_vec2 centre = centre_on_sheet(f, p);
    double radius = radius_mm(f, p);
    double steps = 2 * TR_PI * radius * f->px_per_mm / (STEP_OF_SIGMA * narrow_sigma(p));
    int n = (int)fmax(MIN_NODES, fmin(MAX_NODES, ceil(steps)));
    double turn = 2 * TR_PI / n;
    c->n = 0;
    for (int i = 0; i < n; i++) {
        tr_vec2 out = tr_v2(cos(i * turn), sin(i * turn));
        double height = radius * (p[SLOPE_X] * out.x + p[SLOPE_Y] * out.y);
        sheet_point at;
        if (!project(f, tr_v3(centre.x + radius * out.x, centre.y + radius * out.y, height), &at))
            return false;
        add_node(f, &at, out, turn, radius, p, c);
    }
    return true;
}

/* ---- the light of a pixel ---- */

/* r'r beyond which nothing is left of the wider Gaussian, 4e-6. */
static const double FAR2 = 100;

typedef struct {
    double wxx, wxy, wyy; /* inverse of the blur's covariance */
    double density;       /* of its Gaussian at the middle */
    double far_px2;       /* square of the distance beyond which FAR2 is passed whichever way */
    bool is_low;          /* the ellipse is so low that its far side counts, too */
} blur;

static blur blur_of(const fit *f, const double p[N_PARAM]) {
    double s2 = p[SIGMA] * p[SIGMA];
    double det = s2 * (1 - p[STRETCH] * p[STRETCH] - p[SKEW] * p[SKEW]);
    return (blur){.wxx = (1 - p[STRETCH]) / det,
                  .wxy = -p[SKEW] / det,
                  .wyy = (1 + p[STRETCH]) / det,
                  .density = 1 / (2 * TR_PI * s2 * sqrt(det / s2)),
                  .far_px2 = FAR2 * wide_sigma(p) * wide_sigma(p),
                  .is_low = f->height_px < 14 * wide_sigma(p)};
}

/* Of the disc's light, 0 outside to 1 within, and its derivatives: by SHAPE, and by the blur's
   covariance, each element of it doubled. */
typedef struct {
    double value;
    double by_shape[SHAPE];
    double xx, xy, yy;
} light;

/* For the blur, and for twice the blur. */
typedef struct {
    light sharp, wide;
} pixel_light;

/* g: the Gaussian at a node. What an edge does that runs by (dx, dy); (wx, wy): W'r. */
static void add_derivatives(const contour *c, int i, double part, double g, tr_vec2 w, tr_vec2 d,
                            light *out) {
    for (int k = 0; k < SHAPE; k++) out->by_shape[k] += g * part * (double)c->move[k][i];
    /* Outward normal times length, as the edge runs: (-dy, dx). */
    out->xx += g * w.x * d.y;
    out->xy -= g * (w.x * d.x - w.y * d.y) / 2;
    out->yy -= g * w.y * d.x;
}

/* One node's part. */
static void add_part(const contour *c, const blur *b, int i, double u, double v, double part,
                     pixel_light *out) {
    double x = (double)c->x[i] - u;
    double y = (double)c->y[i] - v;
    tr_vec2 d = tr_v2((double)c->dx[i] * part, (double)c->dy[i] * part);
    tr_vec2 w = tr_v2(b->wxx * x + b->wxy * y, b->wxy * x + b->wyy * y);
    double rr = fmax(w.x * x + w.y * y, 1e-9);
    double swept = -(x * d.y - y * d.x) * b->density; /* density: det W / 2 pi */
    if (rr > FAR2) {
        out->sharp.value += swept / rr;
        out->wide.value += swept / rr;
        return;
    }
    double e = exp(-rr / 8);
    double e4 = e * e * e * e;
    out->sharp.value += swept * (1 - e4) / rr;
    out->wide.value += swept * (1 - e) / rr;
    if (rr < FAR2 / 4) add_derivatives(c, i, part, b->density * e4, w, d, &out->sharp);
    add_derivatives(c, i, part, b->density * e / 4, w, d, &out->wide);
}

/* Of an arc that is far from the pixel only the angle counts under which it is seen, where the blur
   is round: as W has it. */
static double far_angle(const contour *c, const blur *b, int from, int to, double u, double v) {
    tr_vec2 p = tr_v2((double)c->x[from] - u, (double)c->y[from] - v);
    tr_vec2 q = tr_v2((double)c->x[to] - u, (double)c->y[to] - v);
    double cross = 2 * TR_PI * b->density * tr_v2_cross(p, q);
    double dot = b->wxx * p.x * q.x + b->wxy * (p.x * q.y + p.y * q.x) + b->wyy * p.y * q.y;
    double angle = -atan2(cross, dot);
    return angle < 0 ? angle + 2 * TR_PI : angle;
}

/* near: the node that is nearest to the pixel (u, v). */
static void see(const contour *c, const blur *b, int near, double u, double v, pixel_light *out) {
    *out = (pixel_light){0};
    if (b->is_low) {
        for (int i = 0; i < c->n; i++) add_part(c, b, i, u, v, 1, out);
        return;
    }
    int end[2];
    add_part(c, b, near, u, v, 1, out);
    for (int side = 0; side < 2; side++) {
        int step = side ? 1 : c->n - 1;
        int i = near;
        bool is_far = false;
        for (int k = 1; k < c->n / 3 && !is_far; k++) {
            i = (i + step) % c->n;
            int next = (i + step) % c->n;
            double x = (double)c->x[next] - u;
            double y = (double)c->y[next] - v;
            is_far = x * x + y * y > b->far_px2;
            add_part(c, b, i, u, v, 1, out);
        }
        i = (i + step) % c->n;
        add_part(c, b, i, u, v, 0.5, out); /* the end of the near arc */
        end[side] = i;
    }
    double far = far_angle(c, b, end[1], end[0], u, v) / (2 * TR_PI);
    out->sharp.value += far;
    out->wide.value += far;
}

/* ---- pixels ---- */

enum { MAX_PIXELS = 1200, N_SECTORS = 12 };
_Static_assert(MAX_PIXELS % TR_LANES == 0, "in whole lanes");

typedef struct {
    int n;
    int u[MAX_PIXELS], v[MAX_PIXELS];
    int near[MAX_PIXELS]; /* node, in parts of TURN */
    float weight[MAX_PIXELS];
    float row[N_ROWS][MAX_PIXELS];
} pixels;
enum { TURN = 1 << 16 };

/* Smooth weight: 1 about the edge, 0 at the window's rim, so that no pixel there decides by being
   in or out. d_px: outward from the edge. */
static double weight_at(const fit *f, double d_px) {
    double linear = 3 * (1 - fabs(d_px) / f->reach_px[d_px > 0]);
    return linear <= 0 ? 0 : linear >= 1 ? 1 : linear;
}

/* From the image, px from the origin, to the sheet, about the disc's centre: a homography, as the
   lens bends nothing within a disc that would matter for which pixels are looked at. It tells
   before and behind the horizon by its origin, which must therefore be at the disc: the photo's
   corner may show the sky. */
static bool image_to_sheet(const contour *c, double radius, tr_mat3 *H) {
    enum { N = 8 };
    tr_vec2 from[N];
    tr_vec2 to[N];
    for (int k = 0; k < N; k++) {
        int i = k * c->n / N;
        double t = 2 * TR_PI * i / c->n;
        from[k] = tr_v2((double)c->x[i], (double)c->y[i]);
        to[k] = tr_v2(radius * cos(t), radius * sin(t));
    }
    return tr_homography_fit(from, to, N, H);
}

typedef struct {
    int u0, v0, u1, v1;
} box;

static bool find_box(const fit *f, const contour *c, double margin, box *b) {
    double low_u = INFINITY, low_v = INFINITY, high_u = -INFINITY, high_v = -INFINITY;
    for (int i = 0; i < c->n; i++) {
        low_u = fmin(low_u, (double)c->x[i]);
        high_u = fmax(high_u, (double)c->x[i]);
        low_v = fmin(low_v, (double)c->y[i]);
        high_v = fmax(high_v, (double)c->y[i]);
    }
    low_u += f->origin_px.x - margin;
    low_v += f->origin_px.y - margin;
    high_u += f->origin_px.x + margin;
    high_v += f->origin_px.y + margin;
    if (!(low_u >= 0 && low_v >= 0 && high_u <= f->image->width - 1 &&
          high_v <= f->image->height - 1)) {
        return false;
    }
    *b = (box){(int)ceil(low_u), (int)ceil(low_v), (int)floor(high_u), (int)floor(high_v)};
    return true;
}

/* The pixels about the edge; of large discs blocks of 2 x 2 of them, at even steps. False where
   there are more than have room. */
static bool fill_pixels(const fit *f, const contour *c, const box *b, tr_mat3 H, double radius,
                        int every, pixels *px) {
    double least_px_per_mm = 0.5 * f->height_px / f->view->diameter_mm;
    double most_reach = fmax(f->reach_px[0], f->reach_px[1]);
    px->n = 0;
    for (int v = b->v0; v <= b->v1; v++) {
        for (int u = b->u0; u <= b->u1; u++) {
            tr_vec2 q;
            if (((u >> 1) + 3 * (v >> 1)) % every != 0) continue;
            if (!tr_homography_apply(H, tr_v2_sub(tr_v2(u, v), f->origin_px), &q, NULL)) continue;
            double apart = tr_v2_norm(q) - radius;
            if (fabs(apart) * least_px_per_mm > most_reach) continue; /* spares the angle */
            double t = atan2(q.y, q.x) / (2 * TR_PI);
            int near = (int)lround((t < 0 ? t + 1 : t) * c->n) % c->n;
            double w = weight_at(f, apart * (double)c->out_px[near]);
            if (w <= 0) continue;
            if (px->n == MAX_PIXELS) return false;
            px->u[px->n] = u;
            px->v[px->n] = v;
            px->near[px->n] = (int)((t < 0 ? t + 1 : t) * TURN);
            px->weight[px->n++] = (float)w;
        }
    }
    return true;
}

/* False where the window leaves the image. */
static bool gather_pixels(fit *f, const double p[N_PARAM], contour *c, pixels *px) {
    tr_mat3 H;
    box b;
    double reach = fmax(WINDOW_MIN_PX, WINDOW_SIGMAS * wide_sigma(p));
    double room = WINDOW_OF_ROOM * f->view->room_mm * f->height_px / f->view->diameter_mm;
    f->reach_px[0] = reach;
    f->reach_px[1] = fmin(reach, fmax(room, 1));
    if (!make_contour(f, p, c) || !find_box(f, c, 1, &b)) return false;
    double radius = radius_mm(f, p);
    if (!image_to_sheet(c, radius, &H)) return false;
    int margin = (int)ceil(reach);
    b = (box){b.u0 > margin ? b.u0 - margin : 0, b.v0 > margin ? b.v0 - margin : 0,
              b.u1 + margin < f->image->width ? b.u1 + margin : f->image->width - 1,
              b.v1 + margin < f->image->height ? b.v1 + margin : f->image->height - 1};
    int every = 1 + (int)(4 * f->size_px * 2 * reach / MAX_PIXELS);
    while (!fill_pixels(f, c, &b, H, radius, every, px)) every *= 2;
    return px->n > 2 * N_PARAM;
}

/* ---- the equations ---- */

static void fill_row(const fit *f, const double p[N_PARAM], const pixel_light *l, int i,
                     pixels *px) {
    float by_light;
    float by_tone[TR_EDGE_N_TONE];
    float tone[TR_EDGE_N_TONE];
    for (int k = 0; k < TR_EDGE_N_TONE; k++) tone[k] = (float)p[TONE + k];
    double sign = f->view->is_white ? 1 : -1;
    double white = f->view->is_white ? l->sharp.value : 1 - l->sharp.value;
    double s = (double)tr_edge_tone(tone, (float)white, &by_light, by_tone);
    double rim = sign * (l->wide.value - l->sharp.value);
    double x = (px->u[i] - f->origin_px.x - p[U]) / f->size_px;
    double y = (px->v[i] - f->origin_px.y - p[V]) / f->size_px;
    double fade = p[FADE_U] * x + p[FADE_V] * y;
    double k = (double)px->weight[i];
    double by_s = k * (p[STEP] + fade) * (double)by_light;
    double by_wide = sign * k * p[STEP] * p[RIM];
    double by_sharp = sign * by_s - by_wide;
    double s2 = p[SIGMA] * p[SIGMA];
    double xx = by_sharp * l->sharp.xx + by_wide * l->wide.xx;
    double xy = by_sharp * l->sharp.xy + by_wide * l->wide.xy;
    double yy = by_sharp * l->sharp.yy + by_wide * l->wide.yy;
    double row[N_ROWS] = {0};
    for (int a = 0; a < SHAPE; a++) {
        row[a] = by_sharp * l->sharp.by_shape[a] + by_wide * l->wide.by_shape[a];
    }
    row[SIGMA] = p[SIGMA] * (xx * (1 + p[STRETCH]) + 2 * xy * p[SKEW] + yy * (1 - p[STRETCH]));
    row[STRETCH] = s2 / 2 * (xx - yy);
    row[SKEW] = s2 * xy;
    for (int a = 0; a < TR_EDGE_N_TONE; a++) {
        row[TONE + a] = k * (p[STEP] + fade) * (double)by_tone[a];
    }
    row[RIM] = k * p[STEP] * rim;
    row[LEVEL] = k;
    row[STEP] = k * (s + p[RIM] * rim);
    row[SHADE_U] = k * x;
    row[SHADE_V] = k * y;
    row[FADE_U] = k * x * s;
    row[FADE_V] = k * y * s;
    double model =
        p[LEVEL] + p[STEP] * (s + p[RIM] * rim) + p[SHADE_U] * x + p[SHADE_V] * y + fade * s;
    row[RESIDUAL] = k * (tr_image_row(f->image, px->v[i])[px->u[i]] - model);
    row[WEIGHT] = k;
    for (int a = 0; a < N_ROWS; a++) px->row[a][i] = (float)row[a];
}

typedef struct {
    double A[N_PARAM * N_PARAM];
    double b[N_PARAM];
    double sum_w, sum_wrr;
    double cost; /* with the priors' */
} equations;

static void add_prior(equations *e, const double p[N_PARAM], int k, double sd, double pixel_sd) {
    double w = (pixel_sd / sd) * (pixel_sd / sd);
    e->A[k * N_PARAM + k] += w;
    e->b[k] -= w * p[k];
    e->cost += w * p[k] * p[k];
}

static void add_priors(const fit *f, const double p[N_PARAM], equations *e) {
    double pixel_sd = PIXEL_SD_PART * f->contrast;
    add_prior(e, p, GROWTH, hypot(GROWTH_SD_PX, GROWTH_SD_PART * f->size_px), pixel_sd);
    add_prior(e, p, SLOPE_X, SLOPE_SD, pixel_sd);
    add_prior(e, p, SLOPE_Y, SLOPE_SD, pixel_sd);
    add_prior(e, p, STRETCH, STRETCH_SD, pixel_sd);
    add_prior(e, p, SKEW, STRETCH_SD, pixel_sd);
    for (int k = 0; k < TR_EDGE_N_TONE; k++) add_prior(e, p, TONE + k, TONE_SD, pixel_sd);
    add_prior(e, p, RIM, RIM_SD, pixel_sd);
    double shade = fmin(SHADE_SD_LIMIT, SHADE_SD_FLOOR + SHADE_SD_PER_PX * f->size_px);
    for (int k = SHADE_U; k <= FADE_V; k++) add_prior(e, p, k, shade * f->contrast, pixel_sd);
}

/* Normal equations, on the pixels as they were gathered. False where the disc is not before the
   camera. */
static bool assemble(const fit *f, const double p[N_PARAM], contour *c, pixels *px, equations *e) {
    if (!make_contour(f, p, c)) return false;
    blur b = blur_of(f, p);
    for (int i = 0; i < px->n; i++) {
        pixel_light l;
        int near = (int)((double)px->near[i] / TURN * c->n + 0.5) % c->n;
        see(c, &b, near, px->u[i] - f->origin_px.x, px->v[i] - f->origin_px.y, &l);
        fill_row(f, p, &l, i, px);
    }
    int n = 0;
    for (int a = 0; a < N_ROWS; a++) n = tr_fill_lanes(px->row[a], px->n);
    memset(e, 0, sizeof *e);
    for (int a = 0; a < N_PARAM; a++) {
        e->b[a] = tr_sum_of_products(px->row[a], px->row[RESIDUAL], n);
        for (int k = 0; k <= a; k++) {
            e->A[a * N_PARAM + k] = tr_sum_of_products(px->row[a], px->row[k], n);
        }
    }
    e->sum_w = tr_sum_of_products(px->row[WEIGHT], px->row[WEIGHT], n);
    e->cost = e->sum_wrr = tr_sum_of_products(px->row[RESIDUAL], px->row[RESIDUAL], n);
    add_priors(f, p, e);
    return true;
}

/* ---- the fit ---- */

enum { MAX_STEPS = 40, MAX_REFUSED = 8, MAX_WINDOWS = 8 };
static const double FIRST_DAMPING = 1e-3;
static const double STILL_PX = 1e-3;
/* Of the cost, that a step may still promise. */
static const double STILL_PART = 2e-3;
static const double CENTRED_PX = 0.02;
static const double SAME_EDGE_PX = 0.2;
static const double SAME_BLUR = 0.15;

static double clamp(double x, double low, double high) {
    return fmax(low, fmin(high, x));
}

static void take_step(const double p[N_PARAM], const double step[N_PARAM], double next[N_PARAM]) {
    double part = fmin(1, 1.5 / fmax(1e-12, hypot(step[U], step[V])));
    part = fmin(part, 0.5 * p[SIGMA] / fmax(1e-12, fabs(step[SIGMA])));
    part = fmin(part, 1.5 / fmax(1e-12, fabs(step[GROWTH])));
    part = fmin(part, 0.25 / fmax(1e-12, hypot(step[STRETCH], step[SKEW])));
    for (int k = 0; k < N_PARAM; k++) next[k] = p[k] + part * step[k];
    next[SIGMA] = clamp(next[SIGMA], MIN_SIGMA_PX, MAX_SIGMA_PX);
    next[SLOPE_X] = clamp(next[SLOPE_X], -MAX_SLOPE, MAX_SLOPE);
    next[SLOPE_Y] = clamp(next[SLOPE_Y], -MAX_SLOPE, MAX_SLOPE);
    double stretch = hypot(next[STRETCH], next[SKEW]);
    if (stretch > MAX_STRETCH) {
        next[STRETCH] *= MAX_STRETCH / stretch;
        next[SKEW] *= MAX_STRETCH / stretch;
    }
    for (int k = TONE; k < TONE + TR_EDGE_N_TONE; k++) {
        next[k] = clamp(next[k], -TONE_LIMIT, TONE_LIMIT);
    }
}

/* promise: by about how much the step lowers the cost. */
static bool solve_step(const equations *e, double damping, double step[N_PARAM], double *promise) {
    double A[N_PARAM * N_PARAM];
    memcpy(A, e->A, sizeof A);
    return tr_dense_damped_step(A, e->b, N_PARAM, damping, step, promise);
}

/* Levenberg and Marquardt on fixed pixels: no step is taken that does not lower the cost. */
static tr_disc_outcome descend(const fit *f, contour *c, pixels *px, double p[N_PARAM],
                               equations *e) {
    double damping = FIRST_DAMPING;
    int n_refused = 0;
    double moved = INFINITY;
    if (!assemble(f, p, c, px, e)) return TR_DISC_OFF_IMAGE;
    for (int k = 0; k < MAX_STEPS; k++) {
        double step[N_PARAM];
        double next[N_PARAM];
        equations there;
        double promise;
        if (!solve_step(e, damping, step, &promise)) return TR_DISC_UNLIKE;
        take_step(p, step, next);
        moved = hypot(next[U] - p[U], next[V] - p[V]);
        bool is_still = moved < STILL_PX && promise < STILL_PART * e->cost;
        if (hypot(next[U], next[V]) > f->view->reach_px + 2) return TR_DISC_UNLIKE;
        if (!assemble(f, next, c, px, &there)) return TR_DISC_OFF_IMAGE;
        if (there.cost < e->cost) {
            memcpy(p, next, N_PARAM * sizeof *p);
            *e = there;
            damping = fmax(1e-6, damping / 6);
            n_refused = 0;
            if (is_still) return TR_DISC_MEASURED;
        } else {
            n_refused++;
            if (is_still || n_refused == MAX_REFUSED) break;
            damping *= 8;
        }
    }
    /* A coefficient at its limit may go on promising what it does not keep. */
    bool is_lowest = (n_refused > 0 || moved < STILL_PX) && assemble(f, p, c, px, e);
    return is_lowest ? TR_DISC_MEASURED : TR_DISC_UNSETTLED;
}

/* The window follows the edge until both are at the same place. */
static tr_disc_outcome fit_disc(fit *f, contour *c, pixels *px, double p[N_PARAM], equations *e) {
    for (int k = 0; k < MAX_WINDOWS; k++) {
        double before[N_PARAM];
        memcpy(before, p, sizeof before);
        if (!gather_pixels(f, p, c, px)) return TR_DISC_OFF_IMAGE;
        tr_disc_outcome outcome = descend(f, c, px, p, e);
        if (outcome != TR_DISC_MEASURED && (k > 0 || outcome != TR_DISC_UNSETTLED)) return outcome;
        double moved = hypot(p[U] - before[U], p[V] - before[V]);
        bool is_same = moved < CENTRED_PX && fabs(p[GROWTH] - before[GROWTH]) < SAME_EDGE_PX &&
                       fabs(wide_sigma(p) - wide_sigma(before)) < SAME_BLUR * wide_sigma(p);
        if (outcome == TR_DISC_MEASURED && is_same) return TR_DISC_MEASURED;
    }
    return TR_DISC_UNSETTLED;
}

/* ---- where it begins ---- */

enum { N_RAYS = 24 };

/* Places just inside and just outside the edge, px from where the centre is. */
typedef struct {
    tr_vec2 inside[N_RAYS], outside[N_RAYS];
} probe;

static bool make_probe(const fit *f, const contour *c, probe *out) {
    const double aside = clamp(0.3 * f->height_px, 0.8, 2);
    for (int k = 0; k < N_RAYS; k++) {
        int i = k * c->n / N_RAYS;
        tr_vec2 edge = tr_v2((double)c->dx[i], (double)c->dy[i]);
        double length = tr_v2_norm(edge);
        if (!(length > 0)) return false;
        tr_vec2 normal = tr_v2(-edge.y / length, edge.x / length); /* outward, see add_node */
        tr_vec2 at = tr_v2((double)c->x[i], (double)c->y[i]);
        out->inside[k] = tr_v2_sub(at, tr_v2_scale(aside, normal));
        out->outside[k] = tr_v2_add(at, tr_v2_scale(aside, normal));
    }
    return true;
}

/* Grey value by linear interpolation; beyond the image its rim's. */
static double grey_at(const tr_image *image, tr_vec2 uv) {
    double u = clamp(uv.x, 0, image->width - 1.001);
    double v = clamp(uv.y, 0, image->height - 1.001);
    int u0 = (int)u;
    int v0 = (int)v;
    const uint8_t *row = tr_image_row(image, v0);
    const uint8_t *next = image->height > 1 ? tr_image_row(image, v0 + 1) : row;
    double top = row[u0] + (u - u0) * (row[u0 + 1] - row[u0]);
    double bottom = next[u0] + (u - u0) * (next[u0 + 1] - next[u0]);
    return top + (v - v0) * (bottom - top);
}

typedef struct {
    double score; /* the mean step over the edge, less how much it varies */
    double inside, outside;
} response;

static response respond(const fit *f, const probe *at, tr_vec2 centre) {
    double sum = 0;
    double sum2 = 0;
    response r = {0};
    for (int k = 0; k < N_RAYS; k++) {
        double in = grey_at(f->image, tr_v2_add(centre, at->inside[k]));
        double out = grey_at(f->image, tr_v2_add(centre, at->outside[k]));
        double step = f->view->is_white ? in - out : out - in;
        r.inside += in / N_RAYS;
        r.outside += out / N_RAYS;
        sum += step / N_RAYS;
        sum2 += step * step / N_RAYS;
    }
    r.score = sum - sqrt(fmax(0, sum2 - sum * sum));
    return r;
}

/* Where within reach the step over the edge is largest and most even. */
static bool search(fit *f, const contour *c, double p[N_PARAM]) {
    probe at;
    response best = {.score = -INFINITY};
    int reach = (int)ceil(f->view->reach_px);
    if (!make_probe(f, c, &at)) return false;
    for (int dv = -reach; dv <= reach; dv++) {
        for (int du = -reach; du <= reach; du++) {
            response r = respond(f, &at, tr_v2_add(f->origin_px, tr_v2(du, dv)));
            if (hypot(du, dv) > f->view->reach_px + 0.5 || r.score <= best.score) continue;
            best = r;
            p[U] = du;
            p[V] = dv;
        }
    }
    double step = f->view->is_white ? best.inside - best.outside : best.outside - best.inside;
    p[LEVEL] = (best.inside + best.outside) / 2;
    p[STEP] = f->contrast = fmax(step, 0) + MIN_CONTRAST / 2;
    return step > MIN_CONTRAST / 2;
}

/* ---- is it a disc? ---- */

/* By how much fewer pixels than there are tell of the residuals' variance, see checker.c. */
static double alike(const pixels *px) {
    static const double MAX_ALIKE = 0.4;
    const float *r = px->row[RESIDUAL];
    double square[2] = {0, 0};
    double product[2] = {0, 0};
    double factor = 1;
    int below = 0;
    for (int i = 0; i < px->n; i++) {
        int v = px->v[i];
        int u = px->u[i];
        if (i + 1 < px->n && px->v[i + 1] == v && px->u[i + 1] == u + 1) {
            product[0] += (double)(r[i] * r[i + 1]);
            square[0] += (double)(r[i] * r[i] + r[i + 1] * r[i + 1]) / 2;
        }
        while (below < px->n &&
               (px->v[below] < v + 1 || (px->v[below] == v + 1 && px->u[below] < u))) {
            below++;
        }
        if (below < px->n && px->v[below] == v + 1 && px->u[below] == u) {
            product[1] += (double)(r[i] * r[below]);
            square[1] += (double)(r[i] * r[i] + r[below] * r[below]) / 2;
        }
    }
    for (int k = 0; k < 2; k++) {
        double c = square[k] > 0 ? clamp(product[k] / square[k], 0, MAX_ALIKE) : 0;
        factor *= (1 + c) / (1 - c);
    }
    return factor;
}

/* What remains along a part of the edge. */
typedef struct {
    double ww, rr; /* sums of the weights' and of the residuals' squares */
    double gg, gr; /* of the growth's row: by how much the edge lies outward there */
    double out_px; /* sum of px that it would move outward for a px of growth, weighed by ww */
} sector;

static void fill_sectors(const fit *f, const contour *c, const pixels *px, sector s[N_SECTORS]) {
    memset(s, 0, N_SECTORS * sizeof *s);
    for (int i = 0; i < px->n; i++) {
        sector *at = &s[px->near[i] * (long)N_SECTORS / TURN % N_SECTORS];
        int near = (int)((double)px->near[i] / TURN * c->n + 0.5) % c->n;
        double w = (double)px->row[WEIGHT][i];
        double r = (double)px->row[RESIDUAL][i];
        double g = (double)px->row[GROWTH][i];
        at->ww += w * w;
        at->rr += r * r;
        at->gg += g * g;
        at->gr += g * r;
        at->out_px += w * w * (double)c->out_px[near] / f->px_per_mm;
    }
}

static bool is_round(const fit *f, const contour *c, const pixels *px, double contrast) {
    sector s[N_SECTORS];
    fill_sectors(f, c, px, s);
    for (int k = 0; k < N_SECTORS; k++) {
        if (!(s[k].ww > 0 && s[k].gg > 0)) return false;
        double out = s[k].out_px / s[k].ww;
        double offset_px = fabs(s[k].gr / s[k].gg) * out;
        double most_px = fmax(MAX_SECTOR_PX, MAX_SECTOR_PART * f->size_px * out);
        if (sqrt(s[k].rr / s[k].ww) > MAX_SECTOR_RMS_PART * contrast || offset_px > most_px) {
            return false;
        }
    }
    return true;
}

/* A step beyond what there is of black and white comes of a fit to something else. Low discs do not
   get as dark, or as light, as they are. */
static bool is_step_there(const fit *f, const pixels *px, double contrast) {
    static const double MOST = 1.3;
    static const double LOW_PX = 6;
    if (f->height_px < LOW_PX) return true;
    int low = 255;
    int high = 0;
    for (int i = 0; i < px->n; i++) {
        int grey = tr_image_row(f->image, px->v[i])[px->u[i]];
        low = grey < low ? grey : low;
        high = grey > high ? grey : high;
    }
    return contrast <= MOST * (high - low);
}

static tr_disc_outcome judge(const fit *f, const double p[N_PARAM], const contour *c,
                             const pixels *px, const equations *e) {
    double contrast = p[STEP];
    double most_growth = fmax(MAX_GROWTH_PX, MAX_GROWTH_PART * f->size_px);
    double variance = e->sum_wrr / fmax(1, e->sum_w - N_PARAM);
    if (!(contrast >= MIN_CONTRAST)) return TR_DISC_FAINT;
    if (wide_sigma(p) > MAX_SIGMA_OF_HEIGHT * f->height_px) return TR_DISC_BLURRED;
    if (fabs(p[GROWTH]) > most_growth) return TR_DISC_SIZE;
    if (fmax(fabs(p[SLOPE_X]), fabs(p[SLOPE_Y])) >= MAX_SLOPE) return TR_DISC_UNLIKE;
    if (!is_step_there(f, px, contrast)) return TR_DISC_UNLIKE;
    if (sqrt(variance) > MAX_RMS_PART * contrast) return TR_DISC_UNLIKE;
    if (hypot(p[U], p[V]) > f->view->reach_px + 1) return TR_DISC_UNLIKE;
    return is_round(f, c, px, contrast) ? TR_DISC_MEASURED : TR_DISC_UNLIKE;
}

/* ---- all of it ---- */

static bool fill_covariance(const equations *e, double variance, double C[4]) {
    for (int k = 0; k < 2; k++) {
        double A[N_PARAM * N_PARAM];
        double unit[N_PARAM] = {0};
        unit[k] = 1;
        memcpy(A, e->A, sizeof A);
        if (!tr_dense_solve(A, unit, N_PARAM)) return false;
        C[2 * k] = variance * unit[U];
        C[2 * k + 1] = variance * unit[V];
    }
    C[1] = C[2] = (C[1] + C[2]) / 2;
    return C[0] < MAX_SD_PX * MAX_SD_PX && C[3] < MAX_SD_PX * MAX_SD_PX;
}

/* Scale and height of the disc's image. False where it is not seen from the front. */
static bool begin(fit *f) {
    sheet_point at;
    tr_vec2 c = f->view->centre_mm;
    if (!project(f, tr_v3(c.x, c.y, 0), &at)) return false;
    const double *J = at.by_sheet;
    double det = J[0] * J[3] - J[1] * J[2];
    if (!(det < 0)) return false; /* v points down, the sheet's y up */
    f->origin_px = at.uv_px;
    f->mm_of_px[0] = J[3] / det;
    f->mm_of_px[1] = -J[1] / det;
    f->mm_of_px[2] = -J[2] / det;
    f->mm_of_px[3] = J[0] / det;
    /* Singular values of J: their squares have this sum, and its determinant's square as product.
     */
    double sum = (J[0] * J[0] + J[1] * J[1] + J[2] * J[2] + J[3] * J[3]) / 2;
    f->px_per_mm = sqrt(sum + sqrt(fmax(0, sum * sum - det * det)));
    f->size_px = f->px_per_mm * f->view->diameter_mm / 2;
    f->height_px = -det / f->px_per_mm * f->view->diameter_mm;
    return f->origin_px.x > -1e6 && f->origin_px.x < 1e6 && f->origin_px.y > -1e6 &&
           f->origin_px.y < 1e6;
}

static tr_disc_outcome measure(fit *f, tr_disc_fit *out) {
    contour c;
    pixels px;
    equations e;
    double p[N_PARAM] = {[SIGMA] = START_SIGMA_PX};
    sheet_point at;
    if (!begin(f)) return TR_DISC_OFF_IMAGE;
    if (!(f->height_px >= TR_DISC_MIN_PX)) return TR_DISC_TOO_SMALL;
    if (!make_contour(f, p, &c)) return TR_DISC_OFF_IMAGE;
    if (!search(f, &c, p)) return TR_DISC_FAINT;
    tr_disc_outcome outcome = fit_disc(f, &c, &px, p, &e);
    if (outcome != TR_DISC_MEASURED) return outcome;
    outcome = judge(f, p, &c, &px, &e);
    if (outcome != TR_DISC_MEASURED) return outcome;
    tr_vec2 centre = centre_on_sheet(f, p);
    /* Rounding to whole grey values alone leaves 1/12. */
    double variance = fmax(e.sum_wrr / fmax(1, e.sum_w - N_PARAM), 1.0 / 12);
    if (!project(f, tr_v3(centre.x, centre.y, 0), &at) ||
        !fill_covariance(&e, variance * alike(&px), out->covariance)) {
        return TR_DISC_UNLIKE;
    }
    out->uv_px = at.uv_px;
    out->sigma_px = wide_sigma(p);
    out->contrast = p[STEP];
    out->growth_px = p[GROWTH];
    out->height_px = f->height_px;
    out->rms = sqrt(variance);
    return TR_DISC_MEASURED;
}

bool tr_disc_measure(const tr_image *image, const tr_lens *lens, const tr_disc_view *view,
                     tr_disc_fit *out) {
    fit f = {.image = image, .lens = lens, .view = view};
    *out = (tr_disc_fit){0};
    out->outcome = measure(&f, out);
    return out->outcome == TR_DISC_MEASURED;
}
