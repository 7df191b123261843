#include "tools/render/light.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "tools/render/stage.h"

/* Rays along each side of a cell where surfaces meet. */
enum { RAYS = 3 };

/* An edge this far from a pixel's centre may touch it: half its diagonal, and some slack for the
   bend of edges and of bowed sheets. px */
static const double REACH_PX = 0.95;

/* The optics' Gaussian is cut off here: 6e-5 of it lies beyond. */
static const double TAIL_SIGMAS = 4.0;

/* ---- rays ---- */

/* A ray and how it moves with the pixel: d(x, y) over d(u, v), 2 x 2 by rows. */
typedef struct {
    tr_vec2 xy;
    double J[4];
} lens_ray;

static tr_vec2 moved(const lens_ray *from, double du, double dv) {
    return tr_v2(from->xy.x + from->J[0] * du + from->J[1] * dv,
                 from->xy.y + from->J[2] * du + from->J[3] * dv);
}

/* Newton's iteration from ray->xy; some 1e-5 px before the last step, so far below 1e-9 after it.
 */
static bool settle(const tr_lens *lens, tr_vec2 uv_px, lens_ray *ray) {
    for (int step = 0; step < 30; step++) {
        tr_vec2 at;
        double D[4];
        if (!tr_lens_distort(lens, ray->xy, &at, D)) return false;
        double det = D[0] * D[3] - D[1] * D[2];
        if (!(fabs(det) > 0)) return false;
        ray->J[0] = D[3] / det;
        ray->J[1] = -D[1] / det;
        ray->J[2] = -D[2] / det;
        ray->J[3] = D[0] / det;
        tr_vec2 off = tr_v2_sub(uv_px, at);
        ray->xy = moved(ray, off.x, off.y);
        if (fabs(off.x) + fabs(off.y) < 1e-5) return true;
    }
    return false;
}

static bool start_ray(const tr_lens *lens, tr_vec2 uv_px, lens_ray *ray) {
    return tr_lens_undistort(lens, uv_px, &ray->xy) && settle(lens, uv_px, ray);
}

/* The ray du, dv beside that of uv_px, one step of Newton's after the linear guess: exact to some
   1e-10 px. */
static tr_ray ray_beside(const tr_stage *stage, tr_vec2 uv_px, const lens_ray *of, double du,
                         double dv) {
    lens_ray near = *of;
    tr_vec2 at;
    near.xy = moved(of, du, dv);
    if (tr_lens_distort(&stage->lens, near.xy, &at, NULL)) {
        near.xy = moved(&near, uv_px.x + du - at.x, uv_px.y + dv - at.y);
    }
    return tr_stage_ray(stage, tr_v2(uv_px.x + du, uv_px.y + dv), near.xy);
}

/* ---- the point spread along one axis ---- */

/* Weights of the 2 n cells about a pixel's centre. */
typedef struct {
    int n;
    float *weight;
} spread;

/* Integral of the pixel's box (width 1) convolved with the Gaussian, from -infinity to x. With
   A(x) the integral of the normal distribution function, it is A(x + 1/2) - A(x - 1/2). */
static double spread_integral(double x, double sigma) {
    double sum = 0;
    for (int side = -1; side <= 1; side += 2) {
        double y = x + side * 0.5;
        double A = fmax(y, 0);
        if (sigma > 0) {
            double z = y / sigma;
            A = y * 0.5 * erfc(-z / sqrt(2)) + sigma * exp(-z * z / 2) / sqrt(2 * TR_PI);
        }
        sum += side * A;
    }
    return sum;
}

/* An even weight over each cell widens the spread by 1/6 of the cell's width squared: by 1/12 since
   all of a cell counts as its middle (Sheppard, Proc. London Math. Soc. 29, 1898), and by 1/12
   since the light of a cell is its mean. So much is taken off the Gaussian before. */
static const double CELL_VARIANCE = 1.0 / (6 * TR_CELLS * TR_CELLS);

static bool spread_init(spread *s, double blur_px, tr_error *err) {
    double sigma = sqrt(fmax(blur_px * blur_px - CELL_VARIANCE, 0));
    s->n = (int)ceil((0.5 + TAIL_SIGMAS * sigma) * TR_CELLS);
    s->weight = malloc(2 * (size_t)s->n * sizeof *s->weight);
    if (!s->weight) return tr_fail_memory(err);
    double end = (double)s->n / TR_CELLS;
    double whole = spread_integral(end, sigma) - spread_integral(-end, sigma);
    for (int k = 0; k < 2 * s->n; k++) {
        double left = (double)(k - s->n) / TR_CELLS;
        double right = left + 1.0 / TR_CELLS;
        s->weight[k] =
            (float)((spread_integral(right, sigma) - spread_integral(left, sigma)) / whole);
    }
    return true;
}

/* ---- first pass: what each pixel sees ---- */

enum { NOTHING = 0xffff };

/* The photo with a margin on all sides, for the spread's reach. */
typedef struct {
    const tr_scene *scene;
    const tr_lens *lens; /* the stage's */
    tr_stage stage;
    spread along_u, along_v;
    int margin, width, height; /* with the margin */
    float *centre;             /* light of the pixel's centre */
    uint16_t *surface;
    bool *has_edge;
    tr_chroma *tint; /* NULL where it is not wanted */
} picture;

static void picture_release(picture *p) {
    tr_stage_release(&p->stage);
    free(p->along_u.weight);
    free(p->along_v.weight);
    free(p->centre);
    free(p->surface);
    free(p->has_edge);
}

static bool picture_init(picture *p, const tr_scene *scene, int camera, tr_error *err) {
    *p = (picture){.scene = scene, .lens = &p->stage.lens};
    if (!tr_stage_make(scene, camera, &p->stage, err)) return false;
    const tr_imaging *imaging = &scene->cameras[camera].imaging;
    if (!spread_init(&p->along_u, imaging->blur_px[0], err)) return false;
    if (!spread_init(&p->along_v, imaging->blur_px[1], err)) return false;
    if (scene->lens.width_px < 1 || scene->lens.height_px < 1 ||
        (long)scene->lens.width_px * scene->lens.height_px > TR_IMAGE_MAX_PX) {
        return tr_fail(err, TR_BAD_INPUT, "the lens is for an image of %d x %d px; give another",
                       scene->lens.width_px, scene->lens.height_px);
    }
    int reach = p->along_u.n > p->along_v.n ? p->along_u.n : p->along_v.n;
    p->margin = 1 + reach / TR_CELLS;
    p->width = scene->lens.width_px + 2 * p->margin;
    p->height = scene->lens.height_px + 2 * p->margin;
    size_t n = (size_t)p->width * (size_t)p->height;
    p->centre = calloc(n, sizeof *p->centre);
    p->surface = calloc(n, sizeof *p->surface);
    p->has_edge = calloc(n, sizeof *p->has_edge);
    return (p->centre && p->surface && p->has_edge) || tr_fail_memory(err);
}

static tr_vec2 pixel_of(const picture *p, int column, int row) {
    return tr_v2(column - p->margin, row - p->margin);
}

/* How far apart the rays of neighbouring pixels meet the floor. */
static double step_of(const double J[4]) {
    return sqrt(fmax(J[0] * J[0] + J[2] * J[2], J[1] * J[1] + J[3] * J[3]));
}

static void look(picture *p, int column, int row, const lens_ray *ray) {
    long at = (long)row * p->width + column;
    tr_ray d = tr_stage_ray(&p->stage, pixel_of(p, column, row), ray->xy);
    tr_hit hit = tr_stage_trace(&p->stage, d);
    double J[4];
    tr_stage_jacobian(&p->stage, &hit, d, ray->J, J);
    p->surface[at] = (uint16_t)hit.surface;
    p->centre[at] = (float)tr_stage_light(&p->stage, &hit, step_of(J));
    p->has_edge[at] = tr_stage_clear_px(&p->stage, &hit, J) < REACH_PX;
    int u = column - p->margin, v = row - p->margin;
    if (p->tint && u >= 0 && v >= 0 && u < p->lens->width_px && v < p->lens->height_px) {
        const double *tint = tr_stage_tint(&p->stage, &hit);
        long inner = (long)v * p->lens->width_px + u;
        p->tint->cb[inner] = (uint8_t)lrint(128 + tint[0]);
        p->tint->cr[inner] = (uint8_t)lrint(128 + tint[1]);
    }
}

/* One ray through each pixel's centre; each starts where its neighbour left off. */
static void look_along_row(picture *p, int row) {
    lens_ray ray;
    bool is_valid = false;
    for (int column = 0; column < p->width; column++) {
        tr_vec2 uv_px = pixel_of(p, column, row);
        if (is_valid) ray.xy = moved(&ray, 1, 0);
        is_valid = (is_valid && settle(p->lens, uv_px, &ray)) || start_ray(p->lens, uv_px, &ray);
        if (is_valid)
            look(p, column, row, &ray);
        else
            p->surface[(long)row * p->width + column] = NOTHING;
    }
}

/* ---- second pass: cells ---- */

/* Whether all pixels about this one see the same surface. */
static bool is_uniform(const picture *p, int column, int row) {
    const uint16_t *surface = p->surface + (long)row * p->width + column;
    for (int dr = row > 0 ? -1 : 0; dr <= (row < p->height - 1 ? 1 : 0); dr++) {
        for (int dc = column > 0 ? -1 : 0; dc <= (column < p->width - 1 ? 1 : 0); dc++) {
            if (surface[(long)dr * p->width + dc] != *surface) return false;
        }
    }
    return true;
}

/* Offset of the k-th of n + 1 evenly spaced lines across a pixel, from its centre. */
static double line_offset(double k, int n) {
    return k / n - 0.5;
}

/* A pixel that lies on one sheet: exact areas. False where a ray misses the sheet's surface. */
static bool cut_on_sheet(const picture *p, int sheet, tr_vec2 uv_px, const lens_ray *ray,
                         float cells[TR_CELLS][TR_CELLS]) {
    const tr_scene_sheet *of = &p->scene->sheets[sheet];
    tr_vec2 knot[TR_CELLS + 1][TR_CELLS + 1];
    for (int i = 0; i <= TR_CELLS; i++) {
        for (int j = 0; j <= TR_CELLS; j++) {
            double depth_mm;
            tr_ray d = ray_beside(&p->stage, uv_px, ray, line_offset(j, TR_CELLS),
                                  line_offset(i, TR_CELLS));
            if (!tr_stage_meet_sheet(&p->stage, sheet, d, &knot[i][j], &depth_mm)) return false;
        }
    }
    for (int i = 0; i < TR_CELLS; i++) {
        for (int j = 0; j < TR_CELLS; j++) {
            const tr_vec2 quad[4] = {knot[i][j], knot[i][j + 1], knot[i + 1][j + 1],
                                     knot[i + 1][j]};
            tr_vec2 middle = tr_v2_scale(0.5, tr_v2_add(quad[0], quad[2]));
            tr_vec3 at = tr_pose_apply(of->vehicle_from_sheet, tr_scene_sheet_point(of, middle));
            double part = tr_face_black_part(&p->stage.sheets[sheet].face, quad);
            cells[i][j] = (float)tr_stage_sheet_light(&p->stage, sheet, at, part);
        }
    }
    return true;
}

/* A pixel where surfaces meet, or where the floor changes: many rays. surface: the only one that
   can be in their way, NOTHING where any may be. */
static void cut_by_rays(const picture *p, tr_vec2 uv_px, const lens_ray *ray, int surface,
                        float cells[TR_CELLS][TR_CELLS]) {
    for (int i = 0; i < TR_CELLS; i++) {
        for (int j = 0; j < TR_CELLS; j++) {
            double sum = 0;
            for (int k = 0; k < RAYS * RAYS; k++) {
                double du = line_offset(j * RAYS + k % RAYS + 0.5, TR_CELLS * RAYS);
                double dv = line_offset(i * RAYS + k / RAYS + 0.5, TR_CELLS * RAYS);
                tr_ray d = ray_beside(&p->stage, uv_px, ray, du, dv);
                tr_hit hit = surface == NOTHING ? tr_stage_trace(&p->stage, d)
                                                : tr_stage_trace_only(&p->stage, surface, d);
                double J[4];
                tr_stage_jacobian(&p->stage, &hit, d, ray->J, J);
                sum += tr_stage_light(&p->stage, &hit, step_of(J));
            }
            cells[i][j] = (float)(sum / (RAYS * RAYS));
        }
    }
}

static void cut_pixel(const picture *p, int column, int row, float cells[TR_CELLS][TR_CELLS]) {
    long at = (long)row * p->width + column;
    for (int k = 0; k < TR_CELLS * TR_CELLS; k++) cells[k / TR_CELLS][k % TR_CELLS] = p->centre[at];
    bool is_alone = is_uniform(p, column, row);
    if (is_alone && !p->has_edge[at]) return;
    tr_vec2 uv_px = pixel_of(p, column, row);
    lens_ray ray;
    if (p->surface[at] == NOTHING || !start_ray(p->lens, uv_px, &ray)) return;
    int sheet = p->surface[at] - TR_SURFACE_SHEETS;
    bool is_on_sheet = is_alone && sheet >= 0 && sheet < p->scene->n_sheets;
    if (is_on_sheet && cut_on_sheet(p, sheet, uv_px, &ray, cells)) return;
    cut_by_rays(p, uv_px, &ray, is_alone ? p->surface[at] : NOTHING, cells);
}

/* ---- third pass: spread ---- */

/* The rows of cells of one row of pixels, column by column apart: cell (i, TR_CELLS c + j) stands
   at plane[i][j][c], so that a sum over c runs through memory in order. */
typedef struct {
    float *plane[TR_CELLS][TR_CELLS];
} cell_rows;

static bool cell_rows_init(cell_rows *rows, int width, tr_error *err) {
    float *all = malloc((size_t)width * TR_CELLS * TR_CELLS * sizeof *all);
    if (!all) return tr_fail_memory(err);
    for (int k = 0; k < TR_CELLS * TR_CELLS; k++) {
        rows->plane[k / TR_CELLS][k % TR_CELLS] = all + (size_t)k * (size_t)width;
    }
    return true;
}

static void cut_row(const picture *p, int row, cell_rows *out) {
    for (int column = 0; column < p->width; column++) {
        float cells[TR_CELLS][TR_CELLS];
        cut_pixel(p, column, row, cells);
        for (int k = 0; k < TR_CELLS * TR_CELLS; k++) {
            out->plane[k / TR_CELLS][k % TR_CELLS][column] = cells[k / TR_CELLS][k % TR_CELLS];
        }
    }
}

/* to += weight * from */
static void add_scaled(float *to, const float *from, float weight, int n) {
    for (int i = 0; i < n; i++) to[i] += weight * from[i];
}

/* Cell k of the 2 n about a pixel's centre lies in the pixel so many to the right (or below) ... */
static int pixel_of_cell(int k, int n) {
    int cell = k - n + TR_CELLS / 2;
    return cell >= 0 ? cell / TR_CELLS : -((TR_CELLS - 1 - cell) / TR_CELLS);
}

/* ... and is the so-manieth there. */
static int part_of_cell(int k, int n) {
    return k - n + TR_CELLS / 2 - TR_CELLS * pixel_of_cell(k, n);
}

/* Row i of cells, spread along u, at each pixel of the photo. */
static void spread_along_u(const picture *p, const cell_rows *cells, int i, float *out) {
    int width = p->lens->width_px;
    memset(out, 0, (size_t)width * sizeof *out);
    for (int k = 0; k < 2 * p->along_u.n; k++) {
        const float *from = cells->plane[i][part_of_cell(k, p->along_u.n)];
        add_scaled(out, from + p->margin + pixel_of_cell(k, p->along_u.n), p->along_u.weight[k],
                   width);
    }
}

/* Pixel rows of the spread's height pass through a ring of rows of cells. */
static bool spread_all(const picture *p, float *light, tr_error *err) {
    int width = p->lens->width_px;
    int n_ring = TR_CELLS * (2 * p->margin + 1);
    cell_rows cells = {0};
    float *ring = malloc((size_t)n_ring * (size_t)width * sizeof *ring);
    bool ok = ring ? cell_rows_init(&cells, p->width, err) : tr_fail_memory(err);
    for (int row = 0; row < p->height && ok; row++) {
        cut_row(p, row, &cells);
        for (int i = 0; i < TR_CELLS; i++) {
            long slot = (TR_CELLS * (long)row + i) % n_ring;
            spread_along_u(p, &cells, i, ring + slot * width);
        }
        int v = row - 2 * p->margin; /* the row whose last cells have just come */
        if (v < 0) continue;
        float *out = light + (long)v * width;
        memset(out, 0, (size_t)width * sizeof *out);
        for (int k = 0; k < 2 * p->along_v.n; k++) {
            long cell_row = TR_CELLS * (long)(v + p->margin) + TR_CELLS / 2 + k - p->along_v.n;
            add_scaled(out, ring + (cell_row % n_ring) * width, p->along_v.weight[k], width);
        }
    }
    free(cells.plane[0][0]);
    free(ring);
    return ok;
}

float *tr_light_make(const tr_scene *scene, int camera, tr_chroma *tint, tr_error *err) {
    picture p = {0};
    float *light = NULL;
    bool ok = picture_init(&p, scene, camera, err);
    p.tint = tint;
    if (ok) {
        size_t n = (size_t)scene->lens.width_px * (size_t)scene->lens.height_px;
        light = malloc(n * sizeof *light);
        ok = light || tr_fail_memory(err);
    }
    for (int row = 0; row < p.height && ok; row++) look_along_row(&p, row);
    ok = ok && spread_all(&p, light, err);
    if (!ok) {
        free(light);
        light = NULL;
    }
    picture_release(&p);
    return light;
}

float *tr_scene_light(const tr_scene *scene, int camera, tr_error *err) {
    return tr_light_make(scene, camera, NULL, err);
}
