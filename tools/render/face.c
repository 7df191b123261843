#include "tools/render/face.h"

#include <stdlib.h>

#include "marks/family.h"

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

bool tr_face_make(const tr_scene_sheet *sheet, tr_face *out, tr_error *err) {
    const tr_sheet *s = &sheet->sheet;
    bool is_board = sheet->squares[0] > 0;
    *out = (tr_face){0};
    out->grids = calloc((size_t)s->n_tags + (size_t)s->n_corners + 1, sizeof *out->grids);
    if (!out->grids) return tr_fail_memory(err);
    bool ok = make_tags(s, out, err);
    if (is_board) {
        ok = ok && make_checker(tr_v2(0, 0), sheet->pitch_mm, sheet->squares[0], sheet->squares[1],
                                &out->grids[out->n_grids++], err);
    }
    for (int i = 0; i < s->n_corners && ok && !is_board; i++) {
        ok = make_checker(s->corners_mm[i], sheet->checker_mm, 2, 2, &out->grids[out->n_grids++],
                          err);
    }
    if (!ok) tr_face_release(out);
    return ok;
}

void tr_face_release(tr_face *face) {
    for (int i = 0; i < face->n_grids; i++) free(face->grids[i].is_black);
    free(face->grids);
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

bool tr_face_is_black(const tr_face *face, tr_vec2 p_mm) {
    for (int i = 0; i < face->n_grids; i++) {
        tr_vec2 q = place_in(&face->grids[i], p_mm);
        if (is_cell_black(&face->grids[i], (int)floor(q.x), (int)floor(q.y))) return true;
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

double tr_face_clear_px(const tr_face *face, tr_vec2 p_mm, const double J[4]) {
    double clear_px = INFINITY;
    for (int i = 0; i < face->n_grids; i++) {
        const tr_grid *grid = &face->grids[i];
        tr_vec2 along_u = turn_into(grid, tr_v2(J[0], J[2]));
        tr_vec2 along_v = turn_into(grid, tr_v2(J[1], J[3]));
        tr_vec2 px_per_cell = tr_v2(1 / sqrt(along_u.x * along_u.x + along_v.x * along_v.x),
                                    1 / sqrt(along_u.y * along_u.y + along_v.y * along_v.y));
        clear_px = fmin(clear_px, clear_of_grid(grid, place_in(grid, p_mm), px_per_cell));
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

static double area_in_cell(const polygon *a, int column, int row) {
    polygon b = cut(a, -1, 0, -column);
    b = cut(&b, 1, 0, column + 1);
    b = cut(&b, 0, -1, -row);
    b = cut(&b, 0, 1, row + 1);
    return area_of(&b);
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
    if (high_x <= 0 || high_y <= 0 || low_x >= grid->columns || low_y >= grid->rows) return 0;
    double area = 0;
    int last_column = clamp_int(high_x, 0, grid->columns - 1);
    int last_row = clamp_int(high_y, 0, grid->rows - 1);
    for (int row = clamp_int(low_y, 0, last_row); row <= last_row; row++) {
        for (int column = clamp_int(low_x, 0, last_column); column <= last_column; column++) {
            if (is_cell_black(grid, column, row)) area += area_in_cell(a, column, row);
        }
    }
    return area;
}

double tr_face_black_part(const tr_face *face, const tr_vec2 quad_mm[4]) {
    double part = 0;
    for (int i = 0; i < face->n_grids; i++) {
        polygon a = {.n = 4};
        for (int k = 0; k < 4; k++) a.p[k] = place_in(&face->grids[i], quad_mm[k]);
        double whole = area_of(&a);
        if (whole > 0) part += black_area(&face->grids[i], &a) / whole;
    }
    return fmin(part, 1);
}
