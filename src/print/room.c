#include "print/room.h"

#include <stdlib.h>
#include <string.h>

/* Fine enough for the gaps of a plate, few enough cells for a mat of some metres. */
static const double MIN_CELL_MM = 0.5;
enum { MOST_CELLS_A_SIDE = 600 };

/* Rounding of areas that end at the edge of a cell. In cells. */
static const double TOUCH = 1e-6;

double tr_area_gap(tr_area a, tr_area b) {
    double gap_x = fmax(a.left - b.right, b.left - a.right);
    double gap_y = fmax(a.bottom - b.top, b.bottom - a.top);
    return fmax(0, fmax(gap_x, gap_y));
}

bool tr_room_init(tr_room *room, tr_area whole, tr_error *err) {
    double width = fmax(0, whole.right - whole.left);
    double height = fmax(0, whole.top - whole.bottom);
    *room = (tr_room){.whole = whole, .is_sum_old = true};
    room->cell_mm = fmax(MIN_CELL_MM, fmax(width, height) / MOST_CELLS_A_SIDE);
    room->columns = (int)floor(width / room->cell_mm + TOUCH);
    room->rows = (int)floor(height / room->cell_mm + TOUCH);
    /* Cells stand alike on both sides of the middle. */
    room->whole.left += (width - room->columns * room->cell_mm) / 2;
    room->whole.bottom += (height - room->rows * room->cell_mm) / 2;
    size_t n = (size_t)(room->columns + 1) * (size_t)(room->rows + 1);
    room->is_taken = calloc(n, sizeof *room->is_taken);
    room->sum = calloc(n, sizeof *room->sum);
    if (room->is_taken && room->sum) return true;
    tr_room_release(room);
    return tr_fail_memory(err);
}

void tr_room_release(tr_room *room) {
    free(room->is_taken);
    free(room->sum);
    *room = (tr_room){0};
}

static int clamp(double x, int high) {
    return x <= 0 ? 0 : x >= high ? high : (int)x;
}

/* The cells that an area touches: from, up to but without, to. */
typedef struct {
    int left, bottom, right, top;
} span;

static span cells_of(const tr_room *room, tr_area a) {
    double cell = room->cell_mm;
    return (span){clamp(floor((a.left - room->whole.left) / cell + TOUCH), room->columns),
                  clamp(floor((a.bottom - room->whole.bottom) / cell + TOUCH), room->rows),
                  clamp(ceil((a.right - room->whole.left) / cell - TOUCH), room->columns),
                  clamp(ceil((a.top - room->whole.bottom) / cell - TOUCH), room->rows)};
}

void tr_room_take(tr_room *room, tr_area area) {
    span s = cells_of(room, area);
    for (int row = s.bottom; row < s.top; row++) {
        for (int column = s.left; column < s.right; column++)
            room->is_taken[row * room->columns + column] = 1;
    }
    room->is_sum_old = true;
}

static int *sum_at(const tr_room *room, int column, int row) {
    return &room->sum[row * (room->columns + 1) + column];
}

static void sum_up(tr_room *room) {
    if (!room->is_sum_old) return;
    for (int row = 0; row < room->rows; row++) {
        int in_row = 0;
        for (int column = 0; column < room->columns; column++) {
            in_row += room->is_taken[row * room->columns + column];
            *sum_at(room, column + 1, row + 1) = *sum_at(room, column + 1, row) + in_row;
        }
    }
    room->is_sum_old = false;
}

static bool is_span_free(const tr_room *room, span s) {
    return *sum_at(room, s.right, s.top) - *sum_at(room, s.left, s.top) -
               *sum_at(room, s.right, s.bottom) + *sum_at(room, s.left, s.bottom) ==
           0;
}

bool tr_room_is_free(tr_room *room, tr_area area) {
    double slack = TOUCH * room->cell_mm;
    const tr_area *w = &room->whole;
    if (area.left < w->left - slack || area.bottom < w->bottom - slack ||
        area.right > w->left + room->columns * room->cell_mm + slack ||
        area.top > w->bottom + room->rows * room->cell_mm + slack) {
        return false;
    }
    sum_up(room);
    return is_span_free(room, cells_of(room, area));
}

bool tr_room_find(tr_room *room, double width_mm, double height_mm, tr_vec2 near, tr_area *out) {
    double cell = room->cell_mm;
    if (!(width_mm <= room->columns * cell) || !(height_mm <= room->rows * cell)) return false;
    int columns = (int)ceil(width_mm / cell - TOUCH);
    int rows = (int)ceil(height_mm / cell - TOUCH);
    double best = INFINITY; /* squared distance, mm^2 */
    sum_up(room);
    for (int row = 0; row + rows <= room->rows; row++) {
        double y = room->whole.bottom + (row + rows / 2.0) * cell;
        if ((y - near.y) * (y - near.y) >= best) continue;
        for (int column = 0; column + columns <= room->columns; column++) {
            double x = room->whole.left + (column + columns / 2.0) * cell;
            double distance = (x - near.x) * (x - near.x) + (y - near.y) * (y - near.y);
            if (distance >= best ||
                !is_span_free(room, (span){column, row, column + columns, row + rows})) {
                continue;
            }
            best = distance;
            *out = tr_area_about(tr_v2(x, y), width_mm, height_mm);
        }
    }
    return best < INFINITY;
}
