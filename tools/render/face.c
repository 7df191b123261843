#include "tools/render/face.h"

#include <stdlib.h>

#include "tags/family.h"

/* ---- making ---- */

static bool grid_init(tr_grid *grid, tr_vec2 centre_mm, double turn_rad, double cell_mm,
                      int columns, int rows, tr_error *err) {
    *grid = (tr_grid){.centre_mm = centre_mm,
                      .cos_turn = cos(turn_rad),
                      .sin_turn = sin(turn_rad),
                      .cell_mm = cell_mm,
                      .columns = columns,
                      .rows = rows};
    grid->is_black = calloc((size_t)columns * (size_t)rows, sizeof *grid->is_black);
    return grid->is_black || tr_fail_memory(err);
}

static bool make_tag(const struct apriltag_family *family, const tr_tag *tag, tr_grid *grid,
                     tr_error *err) {
    tr_tag_pattern pattern;
    if (!tr_tag_pattern_make(family, tag->id, &pattern)) {
        return tr_fail(err, TR_BAD_INPUT, "the tag family has no id %d; give a smaller one",
                       tag->id);
    }
    int n = pattern.cells;
    if (!grid_init(grid, tag->centre_mm, tag->turn_rad, tag->size_mm / pattern.border, n, n, err)) {
        return false;
    }
    for (int r = 0; r < n; r++) {
        for (int c = 0; c < n; c++) grid->is_black[r * n + c] = !pattern.is_white[r][c];
    }
    return true;
}

/* Squares in turn, the top left one black. */
static bool make_checker(tr_vec2 centre_mm, double edge_mm, int columns, int rows, tr_grid *grid,
                         tr_error *err) {
    if (!grid_init(grid, centre_mm, 0, edge_mm, columns, rows, err)) return false;
    for (int r = 0; r < rows; r++) {
        for (int c = 0; c < columns; c++) grid->is_black[r * columns + c] = (r + c) % 2 == 0;
    }
    return true;
}

/* A white disc stands on one black cell. */
static bool make_disc(const tr_disc *disc, double ink_mm, tr_face *face, tr_error *err) {
    double ink = disc->is_white ? -ink_mm : ink_mm;
    face->discs[face->n_discs++] =
        (tr_face_disc){disc->centre_mm, disc->diameter_mm / 2 + ink, disc->is_white};
    return !disc->is_white || make_checker(disc->centre_mm, TR_DISC_GROUND * disc->diameter_mm, 1,
                                           1, &face->grids[face->n_grids++], err);
}

static bool make_tags(const tr_sheet *sheet, tr_face *face, tr_error *err) {
    if (sheet->n_tags == 0) return true;
    struct apriltag_family *family = tr_tag_family_new(sheet->tag_family, err);
    if (!family) return false;
    bool ok = true;
    for (int i = 0; i < sheet->n_tags && ok; i++) {
        ok = make_tag(family, &sheet->tags[i], &face->grids[face->n_grids++], err);
    }
    tr_tag_family_free(family);
    return ok;
}

/* Squares grow by less than half a white one. */
static bool run_ink(tr_face *face, double ink_mm, tr_error *err) {
    for (int i = 0; i < face->n_grids && ink_mm != 0; i++) {
        face->grids[i].ink = ink_mm / face->grids[i].cell_mm;
        if (!(face->grids[i].ink >= 0 && face->grids[i].ink < 0.5)) {
            return tr_fail(
                err, TR_BAD_INPUT,
                "ink that runs by %g mm does not fit cells of %g mm; give from 0 to half "
                "a cell",
                ink_mm, face->grids[i].cell_mm);
        }
    }
    return true;
}

bool tr_face_make(const tr_scene_sheet *sheet, tr_face *out, tr_error *err) {
    const tr_sheet *s = &sheet->sheet;
    bool is_board = sheet->squares[0] > 0;
    *out = (tr_face){0};
    out->grids = calloc((size_t)tr_sheet_n_marks(s) + 1, sizeof *out->grids);
    out->discs = calloc((size_t)s->n_discs + 1, sizeof *out->discs);
    if (!out->grids || !out->discs) {
        free(out->grids);
        free(out->discs);
        *out = (tr_face){0};
        return tr_fail_memory(err);
    }
    bool ok = make_tags(s, out, err);
    if (is_board) {
        ok = ok && make_checker(tr_v2(0, 0), sheet->pitch_mm, sheet->squares[0], sheet->squares[1],
                                &out->grids[out->n_grids++], err);
    }
    for (int i = 0; i < s->n_corners && ok && !is_board; i++) {
        ok = make_checker(s->corners_mm[i], sheet->checker_mm, 2, 2, &out->grids[out->n_grids++],
                          err);
    }
    for (int i = 0; i < s->n_discs && ok; i++) {
        ok = make_disc(&s->discs[i], sheet->ink_mm, out, err);
    }
    ok = ok && run_ink(out, sheet->ink_mm, err);
    if (!ok) tr_face_release(out);
    return ok;
}

void tr_face_release(tr_face *face) {
    for (int i = 0; i < face->n_grids; i++) free(face->grids[i].is_black);
    free(face->grids);
    free(face->discs);
    *face = (tr_face){0};
}

/* ---- asking ---- */

static bool is_cell_black(const tr_grid *grid, int column, int row) {
    return column >= 0 && row >= 0 && column < grid->columns && row < grid->rows &&
           grid->is_black[row * grid->columns + column];
}

/* A direction of the sheet in the grid's frame, in cells: x right, y down. */
static tr_vec2 turn_into(const tr_grid *grid, tr_vec2 d_mm) {
    return tr_v2((grid->cos_turn * d_mm.x + grid->sin_turn * d_mm.y) / grid->cell_mm,
                 (grid->sin_turn * d_mm.x - grid->cos_turn * d_mm.y) / grid->cell_mm);
}

/* A place of the sheet in the grid's frame: origin at its top left corner. */
static tr_vec2 place_in(const tr_grid *grid, tr_vec2 p_mm) {
    tr_vec2 q = turn_into(grid, tr_v2_sub(p_mm, grid->centre_mm));
    return tr_v2(q.x + grid->columns / 2.0, q.y + grid->rows / 2.0);
}

/* What ink leaves white of a white cell: a rectangle, but for a square at each of its corners. */
typedef struct {
    double x[2], y[2];
    bool is_inked[2][2]; /* the corner at x[i], y[j] */
} white_part;

static white_part white_of_cell(const tr_grid *grid, int column, int row) {
    white_part w;
    bool is_black_x[2] = {is_cell_black(grid, column - 1, row),
                          is_cell_black(grid, column + 1, row)};
    bool is_black_y[2] = {is_cell_black(grid, column, row - 1),
                          is_cell_black(grid, column, row + 1)};
    for (int k = 0; k < 2; k++) {
        double inward = k == 0 ? grid->ink : -grid->ink;
        w.x[k] = column + k + (is_black_x[k] ? inward : 0);
        w.y[k] = row + k + (is_black_y[k] ? inward : 0);
    }
    for (int i = 0; i < 2; i++) {
        for (int j = 0; j < 2; j++) {
            w.is_inked[i][j] = !is_black_x[i] && !is_black_y[j] &&
                               is_cell_black(grid, column + 2 * i - 1, row + 2 * j - 1);
        }
    }
    return w;
}

static bool is_inked(const tr_grid *grid, tr_vec2 q) {
    int column = (int)floor(q.x);
    int row = (int)floor(q.y);
    if (is_cell_black(grid, column, row)) return true;
    if (grid->ink <= 0) return false;
    white_part w = white_of_cell(grid, column, row);
    if (q.x < w.x[0] || q.x > w.x[1] || q.y < w.y[0] || q.y > w.y[1]) return true;
    int i = q.x < column + 0.5 ? 0 : 1;
    int j = q.y < row + 0.5 ? 0 : 1;
    return w.is_inked[i][j] && fabs(q.x - w.x[i]) < grid->ink && fabs(q.y - w.y[j]) < grid->ink;
}

bool tr_face_is_black(const tr_face *face, tr_vec2 p_mm) {
    for (int i = 0; i < face->n_discs; i++) {
        const tr_face_disc *d = &face->discs[i];
        if (tr_v2_norm(tr_v2_sub(p_mm, d->centre_mm)) < d->radius_mm) return !d->is_white;
    }
    for (int i = 0; i < face->n_grids; i++) {
        if (is_inked(&face->grids[i], place_in(&face->grids[i], p_mm))) return true;
    }
    return false;
}

/* The next edge of the grid as seen from q: steps to the sides of the cell, and over its corners.
   px_per_cell: how many px at least one cell's width and height take up. */
static double clear_of_grid(const tr_grid *grid, tr_vec2 q, tr_vec2 px_per_cell) {
    double outside_x = fmax(fmax(-q.x, q.x - grid->columns), 0) * px_per_cell.x;
    double outside_y = fmax(fmax(-q.y, q.y - grid->rows), 0) * px_per_cell.y;
    if (outside_x > 0 || outside_y > 0) return fmax(outside_x, outside_y);
    int column = (int)floor(q.x);
    int row = (int)floor(q.y);
    bool is_black = is_cell_black(grid, column, row);
    double clear_px = fmin(px_per_cell.x, px_per_cell.y); /* the 3 x 3 cells reach as far */
    for (int dr = -1; dr <= 1; dr++) {
        for (int dc = -1; dc <= 1; dc++) {
            if (is_cell_black(grid, column + dc, row + dr) == is_black) continue;
            double to_x = dc == 0 ? 0 : dc < 0 ? q.x - column : column + 1 - q.x;
            double to_y = dr == 0 ? 0 : dr < 0 ? q.y - row : row + 1 - q.y;
            clear_px = fmin(clear_px, fmax(to_x * px_per_cell.x, to_y * px_per_cell.y));
        }
    }
    return clear_px;
}

/* J: as for tr_face_clear_px. A pixel's step is nowhere longer than the root of the sum of squares.
 */
static double clear_of_disc(const tr_face_disc *disc, tr_vec2 p_mm, const double J[4]) {
    double most_mm_per_px = sqrt(J[0] * J[0] + J[1] * J[1] + J[2] * J[2] + J[3] * J[3]);
    double apart_mm = fabs(tr_v2_norm(tr_v2_sub(p_mm, disc->centre_mm)) - disc->radius_mm);
    return apart_mm / most_mm_per_px;
}

double tr_face_clear_px(const tr_face *face, tr_vec2 p_mm, const double J[4]) {
    double clear_px = INFINITY;
    for (int i = 0; i < face->n_discs; i++) {
        clear_px = fmin(clear_px, clear_of_disc(&face->discs[i], p_mm, J));
    }
    for (int i = 0; i < face->n_grids; i++) {
        const tr_grid *grid = &face->grids[i];
        tr_vec2 along_u = turn_into(grid, tr_v2(J[0], J[2]));
        tr_vec2 along_v = turn_into(grid, tr_v2(J[1], J[3]));
        tr_vec2 px_per_cell = tr_v2(1 / sqrt(along_u.x * along_u.x + along_v.x * along_v.x),
                                    1 / sqrt(along_u.y * along_u.y + along_v.y * along_v.y));
        double clear = clear_of_grid(grid, place_in(grid, p_mm), px_per_cell);
        if (grid->ink > 0) {
            /* Ink has moved each edge by no more than this. */
            double cells2 = along_u.x * along_u.x + along_u.y * along_u.y + along_v.x * along_v.x +
                            along_v.y * along_v.y;
            double det = fabs(tr_v2_cross(along_u, along_v));
            clear -= sqrt(2 * cells2) / det * grid->ink;
        }
        clear_px = fmin(clear_px, clear);
    }
    return clear_px;
}

/* ---- areas ---- */

/* A quadrilateral cut by four lines has at most eight corners. */
enum { MAX_CORNERS = 8 };

typedef struct {
    tr_vec2 p[MAX_CORNERS];
    int n;
} polygon;

static double area_of(const polygon *a) {
    double twice = 0;
    for (int i = 2; i < a->n; i++) {
        twice += tr_v2_cross(tr_v2_sub(a->p[i - 1], a->p[0]), tr_v2_sub(a->p[i], a->p[0]));
    }
    return fabs(twice) / 2;
}

/* What of a convex polygon has nx x + ny y <= limit. Source: Sutherland and Hodgman, Reentrant
   polygon clipping, Communications of the ACM 17(1), 1974. */
static polygon cut(const polygon *a, double nx, double ny, double limit) {
    polygon out = {.n = 0};
    for (int i = 0; i < a->n; i++) {
        tr_vec2 p = a->p[i];
        tr_vec2 q = a->p[(i + 1) % a->n];
        double dp = nx * p.x + ny * p.y - limit;
        double dq = nx * q.x + ny * q.y - limit;
        if (dp <= 0 && out.n < MAX_CORNERS) out.p[out.n++] = p;
        if ((dp < 0) == (dq < 0) || dp == 0 || dq == 0 || out.n >= MAX_CORNERS) continue;
        out.p[out.n++] = tr_v2_add(p, tr_v2_scale(dp / (dp - dq), tr_v2_sub(q, p)));
    }
    return out;
}

static double area_within(const polygon *a, double x0, double x1, double y0, double y1) {
    polygon b = cut(a, -1, 0, -x0);
    b = cut(&b, 1, 0, x1);
    b = cut(&b, 0, -1, -y0);
    b = cut(&b, 0, 1, y1);
    return area_of(&b);
}

static double area_in_cell(const polygon *a, int column, int row) {
    return area_within(a, column, column + 1, row, row + 1);
}

/* Of a white cell. */
static double ink_in_cell(const tr_grid *grid, const polygon *a, int column, int row) {
    white_part w = white_of_cell(grid, column, row);
    double white = area_within(a, w.x[0], w.x[1], w.y[0], w.y[1]);
    for (int i = 0; i < 2; i++) {
        for (int j = 0; j < 2; j++) {
            if (!w.is_inked[i][j]) continue;
            double x = w.x[i] - (i == 0 ? 0 : grid->ink);
            double y = w.y[j] - (j == 0 ? 0 : grid->ink);
            white -= area_within(a, x, x + grid->ink, y, y + grid->ink);
        }
    }
    return area_in_cell(a, column, row) - white;
}

static int clamp_int(double x, int low, int high) {
    return x < low ? low : x > high ? high : (int)x;
}

/* In cells of the grid, squared. */
static double black_area(const tr_grid *grid, const polygon *a) {
    double low_x = a->p[0].x, high_x = low_x, low_y = a->p[0].y, high_y = low_y;
    for (int i = 1; i < a->n; i++) {
        low_x = fmin(low_x, a->p[i].x);
        high_x = fmax(high_x, a->p[i].x);
        low_y = fmin(low_y, a->p[i].y);
        high_y = fmax(high_y, a->p[i].y);
    }
    int rim = grid->ink > 0 ? 1 : 0; /* cells beside the grid that ink runs into */
    if (high_x <= -rim || high_y <= -rim || low_x >= grid->columns + rim ||
        low_y >= grid->rows + rim) {
        return 0;
    }
    double area = 0;
    int last_column = clamp_int(floor(high_x), -rim, grid->columns - 1 + rim);
    int last_row = clamp_int(floor(high_y), -rim, grid->rows - 1 + rim);
    for (int row = clamp_int(floor(low_y), -rim, last_row); row <= last_row; row++) {
        for (int column = clamp_int(floor(low_x), -rim, last_column); column <= last_column;
             column++) {
            if (is_cell_black(grid, column, row)) {
                area += area_in_cell(a, column, row);
            } else if (grid->ink > 0) {
                area += ink_in_cell(grid, a, column, row);
            }
        }
    }
    return area;
}

/* Signed area that a circle about the origin has in common with the triangle of the origin, a and
   b: the part of ab within the circle makes a triangle, the parts outside make sectors. */
static double circle_and_triangle(tr_vec2 a, tr_vec2 b, double radius) {
    tr_vec2 d = tr_v2_sub(b, a);
    double dd = tr_v2_dot(d, d);
    if (!(dd > 0)) return 0;
    double middle = -tr_v2_dot(a, d) / dd; /* the foot of the perpendicular, in parts of ab */
    double reach2 = middle * middle - (tr_v2_dot(a, a) - radius * radius) / dd;
    double reach = reach2 > 0 ? sqrt(reach2) : 0;
    double from = fmin(fmax(middle - reach, 0), 1);
    double to = fmin(fmax(middle + reach, from), 1);
    tr_vec2 p = tr_v2_add(a, tr_v2_scale(from, d));
    tr_vec2 q = tr_v2_add(a, tr_v2_scale(to, d));
    double sectors =
        atan2(tr_v2_cross(a, p), tr_v2_dot(a, p)) + atan2(tr_v2_cross(q, b), tr_v2_dot(q, b));
    return (tr_v2_cross(p, q) + radius * radius * sectors) / 2;
}

/* Of a quadrilateral, the part that lies in a disc. */
static double part_in_disc(const tr_face_disc *disc, const tr_vec2 quad_mm[4]) {
    polygon a = {.n = 4};
    double nearest = INFINITY;
    double widest = 0;
    for (int k = 0; k < 4; k++) {
        a.p[k] = tr_v2_sub(quad_mm[k], disc->centre_mm);
        nearest = fmin(nearest, tr_v2_norm(a.p[k]));
        widest = fmax(widest, tr_v2_norm(tr_v2_sub(quad_mm[k], quad_mm[0])));
    }
    double whole = area_of(&a);
    if (!(whole > 0) || nearest > disc->radius_mm + widest) return 0;
    double common = 0;
    for (int k = 0; k < 4; k++) {
        common += circle_and_triangle(a.p[k], a.p[(k + 1) % 4], disc->radius_mm);
    }
    return fabs(common) / whole;
}

double tr_face_black_part(const tr_face *face, const tr_vec2 quad_mm[4]) {
    double part = 0;
    for (int i = 0; i < face->n_discs; i++) {
        double in_disc = part_in_disc(&face->discs[i], quad_mm);
        part += face->discs[i].is_white ? -in_disc : in_disc;
    }
    for (int i = 0; i < face->n_grids; i++) {
        polygon a = {.n = 4};
        for (int k = 0; k < 4; k++) a.p[k] = place_in(&face->grids[i], quad_mm[k]);
        double whole = area_of(&a);
        if (whole > 0) part += black_area(&face->grids[i], &a) / whole;
    }
    return fmin(fmax(part, 0), 1);
}
