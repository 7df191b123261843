#include "present/plan.h"

#include <stdio.h>

#include "base/language.h"
#include "present/labels.h"
#include "present/words.h"

/* Strokes, px. */
static const double THIN_PX = 2, THICK_PX = 5;

/* Of the arrows of the vehicle frame, but not up to the wheels. */
static const double ARM_PX = 62, ARM_MM = 450;

/* A usual car tyre, for a symbol at the wheel point: the point lies just outside it. mm */
static const double WHEEL_LENGTH_MM = 640, WHEEL_WIDTH_MM = 210;

void tr_sheet_outline(const tr_sheet_result *sheet, tr_pose a_from_sheet, tr_vec3 corners_mm[4]) {
    static const int SIGN[4][2] = {{-1, -1}, {1, -1}, {1, 1}, {-1, 1}};
    for (int i = 0; i < 4; i++) {
        tr_vec3 p = tr_v3(SIGN[i][0] * sheet->width_mm / 2, SIGN[i][1] * sheet->height_mm / 2, 0);
        corners_mm[i] = tr_pose_apply(a_from_sheet, p);
    }
}

bool tr_target_has_slide(const tr_target_result *t) {
    static const double LEAST_MM = 0.5;
    return tr_target_needs_move(t) && hypot(t->axis[TR_X].error, t->axis[TR_Y].error) >= LEAST_MM;
}

bool tr_target_has_turn(const tr_target_result *t) {
    static const double LEAST_RAD = 0.05 * TR_RAD_PER_DEG;
    return tr_target_needs_move(t) && fabs(t->axis[TR_YAW].error) >= LEAST_RAD;
}

/* Where the vehicle's floor lies on the page: page = origin - scale (Y, X). */
typedef struct {
    tr_canvas *canvas;
    const tr_check_result *result;
    double x0_px, y0_px, px_per_mm;
} plan;

static tr_vec2 on_page(const plan *p, double x_mm, double y_mm) {
    return tr_v2(p->x0_px - p->px_per_mm * y_mm, p->y0_px - p->px_per_mm * x_mm);
}

typedef struct {
    double x_min, x_max, y_min, y_max; /* mm, vehicle frame */
} extent;

/* What lies farther away, or nowhere, is not in the plan: no workshop is so large. mm */
static const double LARGEST_MM = 1e6;

static void grow(extent *e, double x, double y) {
    if (!(fabs(x) <= LARGEST_MM) || !(fabs(y) <= LARGEST_MM)) return;
    e->x_min = fmin(e->x_min, x);
    e->x_max = fmax(e->x_max, x);
    e->y_min = fmin(e->y_min, y);
    e->y_max = fmax(e->y_max, y);
}

static void grow_by_sheet(extent *e, const tr_sheet_result *sheet, tr_pose vehicle_from_sheet) {
    tr_vec3 corners[4];
    tr_sheet_outline(sheet, vehicle_from_sheet, corners);
    for (int i = 0; i < 4; i++) grow(e, corners[i].x, corners[i].y);
}

static bool is_target_placed(const tr_check_result *result, int target) {
    return result->sheets[result->targets[target].sheet].is_placed;
}

static const tr_sheet_result *sheet_of(const tr_check_result *result, int target) {
    return &result->sheets[result->targets[target].sheet];
}

static tr_pose measured_pose(const tr_check_result *result, int target) {
    return result->sheets[result->targets[target].sheet].vehicle_from_sheet;
}

/* X of the front axle; 0 where neither plates nor layout tell. */
static double front_axle_mm(const tr_check_result *result) {
    if (result->wheelbase.is_measured) return result->wheelbase.measured_mm;
    return result->wheelbase.stated_mm;
}

static extent extent_of(const tr_check_result *result) {
    extent e = {-WHEEL_LENGTH_MM / 2, WHEEL_LENGTH_MM / 2, -800, 800};
    grow(&e, front_axle_mm(result), 0);
    for (int i = 0; i < result->n_plates; i++) {
        if (!result->plates[i].is_placed) continue;
        tr_vec3 at = result->plates[i].at_mm;
        grow(&e, at.x - WHEEL_LENGTH_MM / 2, at.y);
        grow(&e, at.x + WHEEL_LENGTH_MM / 2, at.y);
    }
    for (int i = 0; i < result->n_free_areas; i++) {
        const tr_free_area_result *area = &result->free_areas[i];
        for (int k = 0; k < area->n_corners; k++) {
            grow(&e, area->corners_mm[k].x, area->corners_mm[k].y);
        }
    }
    for (int i = 0; i < result->n_targets; i++) {
        grow_by_sheet(&e, sheet_of(result, i), result->targets[i].vehicle_from_required);
        if (is_target_placed(result, i))
            grow_by_sheet(&e, sheet_of(result, i), measured_pose(result, i));
    }
    return e;
}

static plan fit(tr_canvas *canvas, tr_box box, const tr_check_result *result, extent e) {
    /* Room for dimensions and words about the drawing, px. */
    static const double LEFT = 78, RIGHT = 66, TOP = 140, BOTTOM = 74;
    double width = box.width - LEFT - RIGHT;
    double height = box.height - TOP - BOTTOM;
    double scale = fmin(width / (e.y_max - e.y_min), height / (e.x_max - e.x_min));
    double slack_x = width - scale * (e.y_max - e.y_min);
    double slack_y = height - scale * (e.x_max - e.x_min);
    return (plan){canvas, result, box.x + LEFT + slack_x / 2 + scale * e.y_max,
                  box.y + TOP + slack_y / 2 + scale * e.x_max, scale};
}

static void line_mm(const plan *p, double x0, double y0, double x1, double y1) {
    tr_vec2 a = on_page(p, x0, y0);
    tr_vec2 b = on_page(p, x1, y1);
    cairo_move_to(p->canvas->cr, a.x, a.y);
    cairo_line_to(p->canvas->cr, b.x, b.y);
    cairo_stroke(p->canvas->cr);
}

static void set_pen(const plan *p, double width_px, tr_colour colour) {
    tr_canvas_colour(p->canvas, colour);
    cairo_set_line_width(p->canvas->cr, width_px);
    cairo_set_dash(p->canvas->cr, NULL, 0, 0);
}

static void set_dash(const plan *p, double on_px, double off_px) {
    const double dashes[2] = {on_px, off_px};
    cairo_set_dash(p->canvas->cr, dashes, 2, 0);
}

/* Long and short dashes, as a drawing marks a line of symmetry (ISO 128-2, type 04). */
static void draw_centreline(const plan *p, const extent *e) {
    static const double DASHES[] = {28, 6, 6, 6};
    set_pen(p, THIN_PX, TR_FAINT);
    cairo_set_dash(p->canvas->cr, DASHES, 4, 0);
    line_mm(p, e->x_min - 150, 0, e->x_max + 150, 0);
    cairo_set_dash(p->canvas->cr, NULL, 0, 0);
}

/* How far the middle of the tyre lies inward from the wheel's point: a plumb mark lies outside it,
   a hub sheet tells the wheel's own middle. */
static double inward_mm(const tr_check_result *result, tr_wheel_point point) {
    static const double APART_MM = 30;
    for (int i = 0; i < result->n_plates; i++) {
        if (result->plates[i].point == point && result->plates[i].is_hub) return 0;
    }
    return APART_MM + WHEEL_WIDTH_MM / 2;
}

static void draw_wheel(const plan *p, tr_wheel_point which, tr_vec2 point) {
    double middle = point.y + (point.y > 0 ? -1 : 1) * inward_mm(p->result, which);
    tr_vec2 a = on_page(p, point.x + WHEEL_LENGTH_MM / 2, middle - WHEEL_WIDTH_MM / 2);
    tr_vec2 b = on_page(p, point.x - WHEEL_LENGTH_MM / 2, middle + WHEEL_WIDTH_MM / 2);
    set_pen(p, THIN_PX, TR_INK);
    cairo_rectangle(p->canvas->cr, fmin(a.x, b.x), fmin(a.y, b.y), fabs(b.x - a.x),
                    fabs(b.y - a.y));
    cairo_stroke(p->canvas->cr);
    tr_vec2 c = on_page(p, point.x, point.y);
    tr_canvas_colour(p->canvas, TR_INK);
    cairo_arc(p->canvas->cr, c.x, c.y, 6, 0, 2 * TR_PI);
    cairo_fill(p->canvas->cr);
}

/* The wheel point of that name, where its plate was found. */
static bool find_point(const tr_check_result *result, tr_wheel_point point, tr_vec2 *at_mm) {
    for (int i = 0; i < result->n_plates; i++) {
        if (result->plates[i].point != point || !result->plates[i].is_placed) continue;
        *at_mm = tr_v2(result->plates[i].at_mm.x, result->plates[i].at_mm.y);
        return true;
    }
    return false;
}

static void draw_axle(const plan *p, tr_wheel_point left, tr_wheel_point right, double x_mm) {
    tr_vec2 a, b;
    bool has_left = find_point(p->result, left, &a);
    bool has_right = find_point(p->result, right, &b);
    if (has_left && has_right) {
        set_pen(p, THIN_PX, TR_INK);
        line_mm(p, a.x, a.y, b.x, b.y);
    } else {
        set_pen(p, THIN_PX, TR_FAINT);
        set_dash(p, 10, 8);
        line_mm(p, x_mm, -800, x_mm, 800);
    }
    if (has_left) draw_wheel(p, left, a);
    if (has_right) draw_wheel(p, right, b);
}

/* The directions of the vehicle frame at its origin. */
static void draw_frame(const plan *p) {
    const tr_type type = {.size_px = 24, .is_bold = true, .colour = TR_INK};
    tr_vec2 o = on_page(p, 0, 0);
    double arm = fmin(ARM_PX, p->px_per_mm * ARM_MM);
    tr_vec2 x = tr_v2(o.x, o.y - arm);
    tr_vec2 y = tr_v2(o.x - arm, o.y);
    set_pen(p, 3, TR_INK);
    tr_vec2 path[3] = {x, o, y};
    tr_canvas_path(p->canvas, path, 3);
    cairo_stroke(p->canvas->cr);
    tr_canvas_head(p->canvas, o, tr_v2(x.x, x.y - 8), 18);
    tr_canvas_head(p->canvas, o, tr_v2(y.x - 8, y.y), 18);
    tr_canvas_label(p->canvas, x.x + 20, x.y, 0, type, false, "X");
    tr_canvas_label(p->canvas, y.x, y.y - 24, 0, type, false, "Y");
}

static void length_text(tr_length_unit unit, const tr_length_result *length, char *text,
                        size_t size) {
    char value[TR_CELL_SIZE], u95[TR_CELL_SIZE];
    tr_number_cell_in(unit, TR_X, length->measured_mm, value);
    tr_u95_cell_in(unit, TR_X, length->u95_mm, u95);
    snprintf(text, size, "%s %s", value, u95);
}

static void draw_track(const plan *p, tr_wheel_point left, tr_wheel_point right,
                       const tr_length_result *track) {
    tr_vec2 a, b;
    if (!track->is_measured || !find_point(p->result, left, &a) ||
        !find_point(p->result, right, &b)) {
        return;
    }
    char text[64];
    length_text(p->canvas->unit, track, text, sizeof text);
    bool is_rear = left == TR_REAR_LEFT;
    /* Ahead of the wheels, and of the arrows of the vehicle frame. */
    double shift = fmax(p->px_per_mm * WHEEL_LENGTH_MM / 2 + 24, is_rear ? ARM_PX + 54 : 0);
    tr_canvas_dimension(p->canvas, on_page(p, a.x, a.y), on_page(p, b.x, b.y), -shift, 24, text);
}

static void draw_wheelbase(const plan *p, double aside_px) {
    tr_vec2 front, rear;
    if (!p->result->wheelbase.is_measured || !find_point(p->result, TR_FRONT_RIGHT, &front) ||
        !find_point(p->result, TR_REAR_RIGHT, &rear)) {
        return;
    }
    char text[64];
    length_text(p->canvas->unit, &p->result->wheelbase, text, sizeof text);
    tr_vec2 a = on_page(p, p->result->wheelbase.measured_mm, fmin(front.y, rear.y));
    tr_vec2 b = on_page(p, 0, fmin(front.y, rear.y));
    tr_canvas_dimension(p->canvas, a, b, -aside_px, 24, text);
}

static void draw_front(const plan *p, tr_box box) {
    const tr_type type = {.size_px = 26, .is_bold = true, .colour = TR_INK};
    tr_canvas_colour(p->canvas, TR_INK);
    tr_canvas_head(p->canvas, tr_v2(p->x0_px, box.y + 60), tr_v2(p->x0_px, box.y + 2), 30);
    tr_canvas_label(p->canvas, p->x0_px, box.y + 48, 0, type, true, TR_("vehicle's front"));
}

static void draw_outline(const plan *p, const tr_vec3 corners[4]) {
    tr_vec2 page[4];
    for (int i = 0; i < 4; i++) page[i] = on_page(p, corners[i].x, corners[i].y);
    tr_canvas_path(p->canvas, page, 4);
    cairo_close_path(p->canvas->cr);
    cairo_stroke(p->canvas->cr);
}

static void area_path(const plan *p, const tr_free_area_result *area) {
    cairo_new_path(p->canvas->cr);
    for (int k = 0; k < area->n_corners; k++) {
        tr_vec2 c = on_page(p, area->corners_mm[k].x, area->corners_mm[k].y);
        cairo_line_to(p->canvas->cr, c.x, c.y);
    }
    cairo_close_path(p->canvas->cr);
}

static extent extent_of_area(const tr_free_area_result *area) {
    extent e = {INFINITY, -INFINITY, INFINITY, -INFINITY};
    for (int k = 0; k < area->n_corners; k++)
        grow(&e, area->corners_mm[k].x, area->corners_mm[k].y);
    return e;
}

/* Hatched, with a line of dots and dashes about it, below all else. */
static void draw_area(const plan *p, const tr_free_area_result *area) {
    enum { MOST = 1000 }; /* strokes */
    static const double STEP_PX = 22, DASHES[] = {16, 5, 3, 5};
    static const tr_colour HATCH = {0.82, 0.82, 0.82};
    cairo_t *cr = p->canvas->cr;
    extent e = extent_of_area(area);
    if (!(e.x_max > e.x_min)) return;
    tr_vec2 a = on_page(p, e.x_max, e.y_max);
    tr_vec2 b = on_page(p, e.x_min, e.y_min);
    cairo_save(cr);
    area_path(p, area);
    cairo_clip(cr);
    set_pen(p, THIN_PX, HATCH);
    double rise = b.y - a.y;
    int n = (int)fmin((b.x - a.x + rise) / STEP_PX, MOST);
    for (int i = 0; i <= n; i++) {
        double x = a.x - rise + i * STEP_PX;
        cairo_move_to(cr, x, b.y);
        cairo_line_to(cr, x + rise, a.y);
        cairo_stroke(cr);
    }
    cairo_restore(cr);
    area_path(p, area);
    set_pen(p, THIN_PX, TR_INK);
    cairo_set_dash(cr, DASHES, 4, 0);
    cairo_stroke(cr);
    cairo_set_dash(cr, NULL, 0, 0);
}

static void draw_areas(const plan *p) {
    for (int i = 0; i < p->result->n_free_areas; i++) draw_area(p, &p->result->free_areas[i]);
}

static void draw_sheet(const plan *p, int target) {
    tr_vec3 corners[4];
    const tr_target_result *t = &p->result->targets[target];
    if (is_target_placed(p->result, target)) {
        tr_sheet_outline(sheet_of(p->result, target), measured_pose(p->result, target), corners);
        set_pen(p, THICK_PX, tr_verdict_colour(t->verdict));
        draw_outline(p, corners);
    }
    tr_sheet_outline(sheet_of(p->result, target), t->vehicle_from_required, corners);
    set_pen(p, THIN_PX + 1, TR_INK);
    set_dash(p, 12, 8);
    draw_outline(p, corners);
    cairo_set_dash(p->canvas->cr, NULL, 0, 0);
}

static extent outline_extent(const plan *p, int target) {
    const tr_target_result *t = &p->result->targets[target];
    tr_pose pose = is_target_placed(p->result, target) ? measured_pose(p->result, target)
                                                       : t->vehicle_from_required;
    extent e = {INFINITY, -INFINITY, INFINITY, -INFINITY};
    grow_by_sheet(&e, sheet_of(p->result, target), pose);
    return e;
}

static extent required_extent(const plan *p, int target) {
    extent e = {INFINITY, -INFINITY, INFINITY, -INFINITY};
    grow_by_sheet(&e, sheet_of(p->result, target),
                  p->result->targets[target].vehicle_from_required);
    return e;
}

static tr_box box_of(const plan *p, extent e) {
    tr_vec2 a = on_page(p, e.x_max, e.y_max);
    return (tr_box){a.x, a.y, p->px_per_mm * (e.y_max - e.y_min),
                    p->px_per_mm * (e.x_max - e.x_min)};
}

static double middle_of_four(const double v[4], bool is_low) {
    double sorted[4];
    for (int i = 0; i < 4; i++) {
        int k = i;
        for (; k > 0 && sorted[k - 1] > v[i]; k--) sorted[k] = sorted[k - 1];
        sorted[k] = v[i];
    }
    return sorted[is_low ? 1 : 2];
}

/* Leaves of the range what lies within the sheet's outline, whichever way it is turned: between the
   middle ones of its corners. */
static void shrink_to_sheet(extent *e, const tr_sheet_result *sheet, tr_pose vehicle_from_sheet) {
    tr_vec3 corners[4];
    double x[4], y[4];
    tr_sheet_outline(sheet, vehicle_from_sheet, corners);
    for (int i = 0; i < 4; i++) {
        x[i] = corners[i].x;
        y[i] = corners[i].y;
    }
    e->x_min = fmax(e->x_min, middle_of_four(x, true));
    e->x_max = fmin(e->x_max, middle_of_four(x, false));
    e->y_min = fmax(e->y_min, middle_of_four(y, true));
    e->y_max = fmin(e->y_max, middle_of_four(y, false));
}

/* Within both outlines, so that words there run over neither; nothing (x_max below x_min) where
   they are apart. */
static extent inner_extent(const plan *p, int target) {
    extent e = {-INFINITY, INFINITY, -INFINITY, INFINITY};
    const tr_sheet_result *sheet = sheet_of(p->result, target);
    shrink_to_sheet(&e, sheet, p->result->targets[target].vehicle_from_required);
    if (is_target_placed(p->result, target))
        shrink_to_sheet(&e, sheet, measured_pose(p->result, target));
    return e;
}

/* The yaw that was measured. */
static void yaw_text(const plan *p, int target, char *text, size_t size) {
    tr_axis_cells yaw;
    char measured[TR_MINUS_SIZE];
    if (!is_target_placed(p->result, target)) {
        snprintf(text, size, "%s", TR_("not measured"));
        return;
    }
    tr_axis_cells_of(TR_YAW, &p->result->targets[target].axis[TR_YAW], &yaw);
    tr_cell_with_minus(yaw.measured, measured);
    snprintf(text, size, TR_("yaw %s°"), measured);
}

/* A line of words that may stand on a sheet. */
typedef struct {
    tr_type type;
    char text[160];
    double width_px;
} words;

static words words_of(const plan *p, tr_type type, const char *text) {
    words w = {.type = type};
    snprintf(w.text, sizeof w.text, "%s", text);
    w.width_px = tr_canvas_text_width(p->canvas, type, text);
    return w;
}

static void draw_words(const plan *p, const words *w, tr_vec2 c, tr_label_room *room) {
    static const double LINE_PX = 32;
    tr_canvas_label(p->canvas, c.x, c.y, 0, w->type, true, w->text);
    tr_label_take(room,
                  (tr_box){c.x - w->width_px / 2 - 4, c.y - LINE_PX / 2, w->width_px + 8, LINE_PX});
}

/* Beside the sheet, towards the vehicle, and not beyond the edge of the drawing. */
static tr_vec2 place_beside(const plan *p, tr_box box, int target, double width_px) {
    static const double APART_PX = 22;
    extent e = outline_extent(p, target);
    tr_vec2 c = on_page(p, (e.x_min + e.x_max) / 2, (e.y_min + e.y_max) / 2);
    double half = width_px / 2 + 4;
    c.y += (e.x_max > 0 ? 1 : -1) * (p->px_per_mm * (e.x_max - e.x_min) / 2 + APART_PX);
    if (2 * half < box.width) c.x = fmin(fmax(c.x, box.x + half), box.x + box.width - half);
    return c;
}

/* Name and shape, and below them the yaw: on the sheet as far as there is room for them within its
   outlines. Else the name stands beside it; the yaw does where the name has room. */
static void draw_name(const plan *p, tr_box box, int target, tr_label_room *room) {
    static const double LINE_PX = 32, CLEAR_PX = 6; /* to the outlines */
    const tr_target_result *t = &p->result->targets[target];
    char text[160];
    snprintf(text, sizeof text, "%s %s", tr_verdict_shape(t->verdict),
             sheet_of(p->result, target)->id);
    words name = words_of(
        p, (tr_type){.size_px = 26, .is_bold = true, .colour = tr_verdict_colour(t->verdict)},
        text);
    yaw_text(p, target, text, sizeof text);
    words yaw = words_of(p, (tr_type){.size_px = 24, .colour = TR_INK}, text);
    extent e = inner_extent(p, target);
    tr_vec2 c = on_page(p, (e.x_min + e.x_max) / 2, (e.y_min + e.y_max) / 2);
    double width = p->px_per_mm * (e.y_max - e.y_min) - 2 * CLEAR_PX;
    double height = p->px_per_mm * (e.x_max - e.x_min) - 2 * CLEAR_PX;
    if (height < LINE_PX || width < name.width_px) {
        draw_words(p, &name, place_beside(p, box, target, name.width_px), room);
        return;
    }
    bool has_both = height >= 2 * LINE_PX && width >= yaw.width_px;
    draw_words(p, &name, tr_v2(c.x, c.y - (has_both ? LINE_PX / 2 : 0)), room);
    if (has_both) {
        draw_words(p, &yaw, tr_v2(c.x, c.y + LINE_PX / 2), room);
        return;
    }
    tr_label_room beside = *room;
    tr_label_take(&beside, box_of(p, outline_extent(p, target)));
    tr_label_take(&beside, box_of(p, required_extent(p, target)));
    draw_words(p, &yaw, tr_label_place(&beside, c, yaw.width_px + 2 * CLEAR_PX, LINE_PX), room);
}

static void value_text(tr_length_unit unit, tr_axis axis, const tr_axis_result *r, char *text,
                       size_t size) {
    tr_axis_cells cells;
    char value[TR_MINUS_SIZE];
    tr_axis_cells_in(unit, axis, r, &cells);
    tr_cell_with_minus(r->is_measured ? cells.measured : cells.required, value);
    if (r->is_measured)
        snprintf(text, size, "%s %s", value, cells.u95);
    else
        snprintf(text, size, TR_("required %s"), value);
}

/* From what the placement counts from to the sheet's centre. */
static void draw_dimensions(const plan *p, tr_box box, int target, tr_label_room *room) {
    static const double BESIDE_PX = 36, BEYOND_PX = 44; /* the line, its words and its arrows */
    const tr_target_result *t = &p->result->targets[target];
    bool is_placed = is_target_placed(p->result, target);
    tr_vec3 c = is_placed ? measured_pose(p->result, target).t_mm : t->vehicle_from_required.t_mm;
    extent e = outline_extent(p, target);
    char text[64];

    /* What the coordinates count from. */
    tr_vec2 origin = {t->vehicle_from_required.t_mm.x - t->axis[TR_X].required,
                      t->vehicle_from_required.t_mm.y - t->axis[TR_Y].required};

    /* At the edge of the drawing that is nearer. */
    static const double EDGE_PX = 40;
    bool is_right = e.y_max < 0;
    value_text(p->canvas->unit, TR_X, &t->axis[TR_X], text, sizeof text);
    tr_vec2 a = on_page(p, origin.x, is_right ? e.y_min : e.y_max);
    tr_vec2 b = on_page(p, c.x, is_right ? e.y_min : e.y_max);
    double left = a.x - (is_right ? box.x + box.width - EDGE_PX : box.x + EDGE_PX);
    tr_canvas_dimension(p->canvas, a, b, b.y > a.y ? left : -left, 24, text);
    tr_label_take(room, (tr_box){a.x - left - BESIDE_PX, fmin(a.y, b.y) - BEYOND_PX, 2 * BESIDE_PX,
                                 fabs(b.y - a.y) + 2 * BEYOND_PX});

    value_text(p->canvas->unit, TR_Y, &t->axis[TR_Y], text, sizeof text);
    bool is_ahead = e.x_min > 0;
    double edge = is_ahead ? e.x_max : e.x_min;
    a = on_page(p, edge, origin.y);
    b = on_page(p, edge, c.y);
    /* The side away from the vehicle: see tr_canvas_dimension for the sign. */
    double away = is_ahead ? -26 : 26;
    tr_canvas_dimension(p->canvas, a, b, b.x < a.x ? -away : away, 24, text);
    tr_label_take(room, (tr_box){fmin(a.x, b.x) - BEYOND_PX, a.y + away - BESIDE_PX,
                                 fabs(b.x - a.x) + 2 * BEYOND_PX, 2 * BESIDE_PX});
}

/* ---- Many targets ---- */

static tr_vec2 middle_of(const plan *p, int target) {
    extent e = outline_extent(p, target);
    return on_page(p, (e.x_min + e.x_max) / 2, (e.y_min + e.y_max) / 2);
}

static void take_wheel(tr_label_room *room, const plan *p, tr_wheel_point point) {
    tr_vec2 at;
    if (!find_point(p->result, point, &at)) return;
    double middle = at.y + (at.y > 0 ? -1 : 1) * inward_mm(p->result, point);
    extent e = {at.x - WHEEL_LENGTH_MM / 2, at.x + WHEEL_LENGTH_MM / 2, middle - WHEEL_WIDTH_MM / 2,
                middle + WHEEL_WIDTH_MM / 2};
    tr_label_take(room, box_of(p, e));
}

/* The wheels, the arrows of the vehicle frame, and the word at the front. */
static tr_label_room room_beside_vehicle(const plan *p, tr_box box) {
    tr_label_room room = {.within = box};
    for (int i = 0; i < TR_N_POINTS; i++) take_wheel(&room, p, (tr_wheel_point)i);
    tr_label_take(&room, (tr_box){p->x0_px - 76, p->y0_px - 80, 110, 100});
    tr_label_take(&room, (tr_box){p->x0_px - 120, box.y, 240, 72});
    return room;
}

/* From a label to what it names, where they do not touch: between their nearest points. */
static void draw_leader(const plan *p, tr_box label, tr_box of) {
    tr_vec2 from, to;
    double x0 = fmax(label.x, of.x);
    double x1 = fmin(label.x + label.width, of.x + of.width);
    double y0 = fmax(label.y, of.y);
    double y1 = fmin(label.y + label.height, of.y + of.height);
    if (x0 <= x1 && y0 <= y1) return;
    from.x = x0 <= x1 ? (x0 + x1) / 2 : label.x < of.x ? label.x + label.width : label.x;
    to.x = x0 <= x1 ? from.x : label.x < of.x ? of.x : of.x + of.width;
    from.y = y0 <= y1 ? (y0 + y1) / 2 : label.y < of.y ? label.y + label.height : label.y;
    to.y = y0 <= y1 ? from.y : label.y < of.y ? of.y : of.y + of.height;
    tr_vec2 line[2] = {from, to};
    set_pen(p, THIN_PX, TR_INK);
    tr_canvas_path(p->canvas, line, 2);
    cairo_stroke(p->canvas->cr);
}

/* A number in the verdict's shape and, where has_name, the sheet's id: on the sheet where that has
   room, else beside it. */
static const double TAG_RADIUS_PX = 24;
typedef struct {
    int target;
    bool has_name;
    double words_px; /* of the id, with the gaps about it */
    tr_box box;
} tag;

static tr_type tag_type(const plan *p, int target) {
    tr_verdict verdict = p->result->targets[target].verdict;
    return (tr_type){.size_px = 26, .is_bold = true, .colour = tr_verdict_colour(verdict)};
}

/* A label so near to another sheet would seem to be its. */
static tr_box about(tr_box box, double px) {
    return (tr_box){box.x - px, box.y - px, box.width + 2 * px, box.height + 2 * px};
}

static tag place_tag(const plan *p, tr_label_room *room, int target, bool has_name) {
    static const double GAP = 8, CLEAR = 3, APART = 16;
    tag t = {.target = target, .has_name = has_name};
    const char *id = sheet_of(p->result, target)->id;
    if (has_name) t.words_px = 2 * GAP + tr_canvas_text_width(p->canvas, tag_type(p, target), id);
    double width = 2 * TAG_RADIUS_PX + t.words_px;
    double height = 2 * TAG_RADIUS_PX;
    tr_label_room free = *room;
    for (int i = 0; i < p->result->n_targets; i++) {
        tr_box outline = box_of(p, outline_extent(p, i));
        bool has_room = outline.width > width + 12 && outline.height > height + 12;
        if (i != target)
            tr_label_take(&free, about(outline, APART));
        else if (!has_room)
            tr_label_take(&free, outline);
    }
    tr_vec2 c = tr_label_place(&free, middle_of(p, target), width + 2 * CLEAR, height + 2 * CLEAR);
    t.box = (tr_box){c.x - width / 2, c.y - height / 2, width, height};
    tr_label_take(
        room, (tr_box){t.box.x - CLEAR, t.box.y - CLEAR, width + 2 * CLEAR, height + 2 * CLEAR});
    return t;
}

static void draw_tag(const plan *p, const tag *t) {
    char number[16];
    double y = t->box.y + t->box.height / 2;
    snprintf(number, sizeof number, "%d", t->target + 1);
    if (t->has_name) {
        tr_canvas_label(p->canvas, t->box.x + 2 * TAG_RADIUS_PX + t->words_px / 2, y, 0,
                        tag_type(p, t->target), true, sheet_of(p->result, t->target)->id);
    }
    tr_canvas_tag(p->canvas, t->box.x + TAG_RADIUS_PX, y, TAG_RADIUS_PX,
                  p->result->targets[t->target].verdict, number);
}

static double area_of(const plan *p, int target) {
    tr_box box = box_of(p, outline_extent(p, target));
    return box.width * box.height;
}

/* Small sheets have the least room about them, and so come first; but `first` (or -1) before all.
 */
static void order_of_tags(const plan *p, int first, int *order, int n) {
    for (int i = 0; i < n; i++) {
        int k = i;
        for (; k > 0; k--) {
            bool is_before =
                order[k - 1] != first && (i == first || area_of(p, i) < area_of(p, order[k - 1]));
            if (!is_before) break;
            order[k] = order[k - 1];
        }
        order[k] = i;
    }
}

/* All of them, with the names of all, or of `one` (not -1) alone. Lines lie below. */
static void draw_tags(const plan *p, tr_label_room *room, int one) {
    enum { MOST = 64 }; /* placements of a layout */
    tag tags[MOST];
    int order[MOST];
    int n = p->result->n_targets < MOST ? p->result->n_targets : MOST;
    order_of_tags(p, one, order, n);
    for (int i = 0; i < n; i++) tags[i] = place_tag(p, room, order[i], one < 0 || order[i] == one);
    for (int i = 0; i < n; i++) {
        draw_leader(p, tags[i].box, box_of(p, outline_extent(p, tags[i].target)));
    }
    for (int i = 0; i < n; i++) draw_tag(p, &tags[i]);
}

/* What has to be clear, over it or beside it. */
static void draw_area_name(const plan *p, tr_label_room *room, const tr_free_area_result *area) {
    const tr_type type = {.size_px = 22, .colour = TR_INK};
    extent e = extent_of_area(area);
    char text[96];
    if (!(e.x_max > e.x_min)) return;
    snprintf(text, sizeof text, TR_("keep clear: %s"), area->name);
    double width = tr_canvas_text_width(p->canvas, type, text) + 12;
    tr_vec2 middle = on_page(p, (e.x_min + e.x_max) / 2, (e.y_min + e.y_max) / 2);
    tr_label_room free = *room;
    for (int i = 0; i < p->result->n_targets; i++) {
        tr_label_take(&free, box_of(p, outline_extent(p, i)));
        tr_label_take(&free, box_of(p, required_extent(p, i)));
    }
    tr_vec2 c = tr_label_place(&free, middle, width, 32);
    tr_label_take(room, (tr_box){c.x - width / 2, c.y - 16, width, 32});
    tr_canvas_label(p->canvas, c.x, c.y, 0, type, true, text);
}

static void draw_relation_line(const plan *p, const tr_relation_result *r) {
    static const double DASHES[] = {14, 5, 3, 5};
    tr_vec2 ends[2] = {middle_of(p, r->targets[0]), middle_of(p, r->targets[1])};
    set_pen(p, THIN_PX, TR_INK);
    cairo_set_dash(p->canvas->cr, DASHES, 4, 0);
    tr_canvas_path(p->canvas, ends, 2);
    cairo_stroke(p->canvas->cr);
    cairo_set_dash(p->canvas->cr, NULL, 0, 0);
}

static void draw_relation_letter(const plan *p, tr_label_room *room, int relation) {
    static const double RADIUS = 20;
    const tr_relation_result *r = &p->result->relations[relation];
    tr_vec2 a = middle_of(p, r->targets[0]);
    tr_vec2 b = middle_of(p, r->targets[1]);
    char letter[16];
    tr_relation_letter(relation, letter);
    tr_label_room free = *room;
    for (int i = 0; i < p->result->n_targets; i++) {
        tr_label_take(&free, box_of(p, outline_extent(p, i)));
    }
    tr_vec2 c =
        tr_label_place(&free, tr_v2_scale(0.5, tr_v2_add(a, b)), 2 * RADIUS + 4, 2 * RADIUS + 4);
    tr_label_take(room,
                  (tr_box){c.x - RADIUS - 2, c.y - RADIUS - 2, 2 * RADIUS + 4, 2 * RADIUS + 4});
    tr_canvas_tag(p->canvas, c.x, c.y, RADIUS, r->verdict, letter);
}

/* ---- The whole ---- */

static void draw_vehicle(const plan *p, tr_box box, const extent *e) {
    double front = front_axle_mm(p->result);
    draw_front(p, box);
    draw_centreline(p, e);
    draw_axle(p, TR_REAR_LEFT, TR_REAR_RIGHT, 0);
    if (front > 0) draw_axle(p, TR_FRONT_LEFT, TR_FRONT_RIGHT, front);
}

/* The vehicle's lengths are drawn where a lone target does not lie beside it. */
static bool has_room_for_lengths(const plan *p, int target) {
    extent e = outline_extent(p, target);
    bool is_beside = e.x_max > -WHEEL_LENGTH_MM / 2 && e.x_min < front_axle_mm(p->result);
    return p->result->n_targets == 1 && !is_beside;
}

void tr_plan_draw(tr_canvas *canvas, tr_box box, const tr_check_result *result, int target) {
    extent e = extent_of(result);
    plan p = fit(canvas, box, result, e);
    cairo_save(canvas->cr);
    draw_areas(&p);
    draw_vehicle(&p, box, &e);
    if (has_room_for_lengths(&p, target)) {
        draw_track(&p, TR_FRONT_LEFT, TR_FRONT_RIGHT, &result->track_front);
        draw_track(&p, TR_REAR_LEFT, TR_REAR_RIGHT, &result->track_rear);
        draw_wheelbase(&p, 40);
    }
    for (int i = 0; i < result->n_targets; i++) draw_sheet(&p, i);
    draw_frame(&p);
    tr_label_room room = room_beside_vehicle(&p, box);
    draw_dimensions(&p, box, target, &room);
    if (result->n_targets == 1) {
        draw_name(&p, box, target, &room);
        tr_label_take(&room, box_of(&p, outline_extent(&p, target)));
    }
    if (result->n_targets > 1) draw_tags(&p, &room, target);
    for (int i = 0; i < result->n_free_areas; i++) {
        draw_area_name(&p, &room, &result->free_areas[i]);
    }
    cairo_restore(canvas->cr);
}

void tr_plan_draw_all(tr_canvas *canvas, tr_box box, const tr_check_result *result) {
    extent e = extent_of(result);
    plan p = fit(canvas, box, result, e);
    cairo_save(canvas->cr);
    draw_areas(&p);
    draw_vehicle(&p, box, &e);
    for (int i = 0; i < result->n_relations; i++) draw_relation_line(&p, &result->relations[i]);
    for (int i = 0; i < result->n_targets; i++) draw_sheet(&p, i);
    draw_frame(&p);
    tr_label_room room = room_beside_vehicle(&p, box);
    draw_tags(&p, &room, -1);
    for (int i = 0; i < result->n_relations; i++) draw_relation_letter(&p, &room, i);
    for (int i = 0; i < result->n_free_areas; i++) {
        draw_area_name(&p, &room, &result->free_areas[i]);
    }
    cairo_restore(canvas->cr);
}

/* ---- Stations ---- */

void tr_plan_draw_number(tr_canvas *canvas, double x, double y, double radius_px, int number) {
    const tr_type type = {.size_px = 1.2 * radius_px, .is_bold = true, .colour = TR_WHITE};
    char text[16];
    snprintf(text, sizeof text, "%d", number);
    tr_canvas_colour(canvas, TR_INK);
    cairo_new_sub_path(canvas->cr);
    cairo_arc(canvas->cr, x, y, radius_px, 0, 2 * TR_PI);
    cairo_fill(canvas->cr);
    tr_canvas_label(canvas, x, y, 0, type, false, text);
}

static void draw_station(const plan *p, const tr_station *station, int number) {
    static const double RADIUS_PX = 20, ARROW_PX = 74;
    tr_vec2 at = on_page(p, station->at_mm.x, station->at_mm.y);
    tr_vec2 to = on_page(p, station->look_at_mm.x, station->look_at_mm.y);
    tr_vec2 d = tr_v2_sub(to, at);
    double far_px = tr_v2_norm(d);
    if (far_px > ARROW_PX) to = tr_v2_add(at, tr_v2_scale(ARROW_PX / far_px, d));
    set_pen(p, THIN_PX + 1, TR_INK);
    tr_vec2 line[2] = {at, to};
    tr_canvas_path(p->canvas, line, 2);
    cairo_stroke(p->canvas->cr);
    tr_canvas_head(p->canvas, at, to, 18);
    tr_plan_draw_number(p->canvas, at.x, at.y, RADIUS_PX, number);
}

/* Where the sheet is expected. */
static void draw_expected(const plan *p, int sheet) {
    tr_vec3 corners[4];
    const tr_sheet_result *s = &p->result->sheets[sheet];
    if (!s->is_placed) return;
    tr_sheet_outline(s, s->vehicle_from_sheet, corners);
    set_pen(p, THIN_PX + 1, TR_INK);
    draw_outline(p, corners);
}

/* On the sheet where it is large enough, else beside it, away from the vehicle. */
static void draw_target_name(const plan *p, int target) {
    static const double LEAST_PX = 80;
    const tr_type type = {.size_px = 24, .is_bold = true, .colour = TR_INK};
    extent e = required_extent(p, target);
    tr_vec2 at = on_page(p, (e.x_min + e.x_max) / 2, (e.y_min + e.y_max) / 2);
    double height = p->px_per_mm * (e.x_max - e.x_min);
    if (!(height >= LEAST_PX)) at.y += (e.x_max > 0 ? -1 : 1) * (height / 2 + 18);
    tr_canvas_label(p->canvas, at.x, at.y, 0, type, true, sheet_of(p->result, target)->id);
}

void tr_plan_draw_stations(tr_canvas *canvas, tr_box box, const tr_plan *of) {
    const tr_check_result *result = &of->result;
    extent e = extent_of(result);
    double front = front_axle_mm(result);
    for (int i = 0; i < of->n_photos; i++) {
        grow(&e, of->photos[i].station.at_mm.x, of->photos[i].station.at_mm.y);
    }
    plan p = fit(canvas, box, result, e);
    cairo_save(canvas->cr);
    draw_areas(&p);
    draw_front(&p, box);
    draw_centreline(&p, &e);
    draw_axle(&p, TR_REAR_LEFT, TR_REAR_RIGHT, 0);
    if (front > 0) draw_axle(&p, TR_FRONT_LEFT, TR_FRONT_RIGHT, front);
    for (int i = 0; i < result->n_sheets; i++) draw_expected(&p, i);
    draw_frame(&p);
    for (int i = 0; i < result->n_targets; i++) draw_target_name(&p, i);
    for (int i = 0; i < of->n_photos; i++) draw_station(&p, &of->photos[i].station, i + 1);
    cairo_restore(canvas->cr);
}

/* ---- The detail ---- */

static const double FACTORS[] = {200, 100, 50, 20, 10, 5, 2, 1};
enum { N_FACTORS = sizeof FACTORS / sizeof *FACTORS };

/* The largest round factor at which mm stays below px, and turn_rad below a fifth of a turn: its
   place in the list. */
static int enlargement(double px_per_mm, double mm, double px, double turn_rad) {
    static const double LARGEST_TURN_RAD = 25 * TR_RAD_PER_DEG;
    for (int i = 0; i + 1 < N_FACTORS; i++) {
        double f = FACTORS[i];
        if (f * mm * px_per_mm <= px && f * turn_rad <= LARGEST_TURN_RAD) return i;
    }
    return N_FACTORS - 1;
}

/* Offset and turn from where the sheet should lie, enlarged. */
static tr_pose enlarged(const tr_target_result *t, double factor, tr_vec3 offset, double turn) {
    return (tr_pose){tr_m3_mul(tr_rotation_z(factor * turn), t->vehicle_from_required.R),
                     tr_v3_add(t->vehicle_from_required.t_mm, tr_v3_scale(factor, offset))};
}

static bool is_in_box(const plan *p, tr_box box, const tr_sheet_result *sheet, tr_pose pose) {
    tr_vec3 corners[4];
    tr_sheet_outline(sheet, pose, corners);
    for (int i = 0; i < 4; i++) {
        tr_vec2 c = on_page(p, corners[i].x, corners[i].y);
        if (!(c.x >= box.x + THICK_PX && c.x <= box.x + box.width - THICK_PX &&
              c.y >= box.y + THICK_PX && c.y <= box.y + box.height - THICK_PX)) {
            return false;
        }
    }
    return true;
}

static bool has_limits(const tr_target_result *t) {
    return t->axis[TR_X].is_judged && t->axis[TR_Y].is_judged;
}

static bool has_u95(const tr_target_result *t) {
    return isfinite(t->axis[TR_X].u95) && isfinite(t->axis[TR_Y].u95);
}

static void draw_limits(const plan *p, const tr_target_result *t, double factor) {
    const tr_axis_result *x = &t->axis[TR_X];
    const tr_axis_result *y = &t->axis[TR_Y];
    if (!has_limits(t)) return;
    tr_vec3 c = t->vehicle_from_required.t_mm;
    tr_vec2 a = on_page(p, c.x + factor * x->limit, c.y + factor * y->limit);
    tr_vec2 b = on_page(p, c.x - factor * x->limit, c.y - factor * y->limit);
    static const tr_colour GROUND = {0.90, 0.90, 0.90};
    tr_canvas_colour(p->canvas, GROUND);
    cairo_rectangle(p->canvas->cr, a.x, a.y, b.x - a.x, b.y - a.y);
    cairo_fill_preserve(p->canvas->cr);
    set_pen(p, THIN_PX, TR_FAINT);
    cairo_stroke(p->canvas->cr);
}

static void draw_cross_mm(const plan *p, tr_vec3 c, double half_px) {
    tr_vec2 o = on_page(p, c.x, c.y);
    cairo_move_to(p->canvas->cr, o.x - half_px, o.y);
    cairo_line_to(p->canvas->cr, o.x + half_px, o.y);
    cairo_move_to(p->canvas->cr, o.x, o.y - half_px);
    cairo_line_to(p->canvas->cr, o.x, o.y + half_px);
    cairo_stroke(p->canvas->cr);
}

/* u95 as a box about the measured centre: the sheet's centre lies in it. */
static void draw_u95(const plan *p, const tr_target_result *t, tr_vec3 c, double factor) {
    double x = factor * t->axis[TR_X].u95;
    double y = factor * t->axis[TR_Y].u95;
    if (!has_u95(t)) return;
    tr_vec2 a = on_page(p, c.x + x, c.y + y);
    tr_vec2 b = on_page(p, c.x - x, c.y - y);
    tr_vec2 o = on_page(p, c.x, c.y);
    set_pen(p, THIN_PX + 1, tr_verdict_colour(t->verdict));
    cairo_rectangle(p->canvas->cr, a.x, a.y, b.x - a.x, b.y - a.y);
    cairo_stroke(p->canvas->cr);
    cairo_arc(p->canvas->cr, o.x, o.y, THICK_PX, 0, 2 * TR_PI);
    cairo_fill(p->canvas->cr);
}

/* How the detail is drawn: the sheet's place in it, and by how much its error is enlarged. */
typedef struct {
    plan plan;
    tr_box box;
    tr_vec3
        offset_mm; /* of the measured centre from the required one; 0 where it is not measured */
    double turn_rad;
    double factor;
} detail;

/* Half the shorter side of the box of u95, as it is drawn; INFINITY where none is. */
static double u95_px(const detail *d, const tr_target_result *t) {
    double least = fmin(t->axis[TR_X].u95, t->axis[TR_Y].u95);
    return least > 0 ? d->factor * least * d->plan.px_per_mm : INFINITY;
}

/* With the sheet as large as that part of the box. */
static detail detail_with(tr_canvas *canvas, tr_box box, const tr_check_result *result, int target,
                          double share) {
    static const double OFFSET = 0.2; /* of the box' shorter side that the largest offset takes */
    const tr_target_result *t = &result->targets[target];
    const tr_sheet_result *sheet = sheet_of(result, target);
    extent e = {INFINITY, -INFINITY, INFINITY, -INFINITY};
    grow_by_sheet(&e, sheet, t->vehicle_from_required);
    double scale =
        share * fmin(box.width / (e.y_max - e.y_min), box.height / fmax(e.x_max - e.x_min, 1));
    tr_vec3 c = t->vehicle_from_required.t_mm;
    detail d = {.plan = {canvas, result, box.x + box.width / 2 + scale * c.y,
                         box.y + box.height / 2 + scale * c.x, scale},
                .box = box,
                .turn_rad = t->axis[TR_YAW].is_measured ? t->axis[TR_YAW].error : 0};
    if (is_target_placed(result, target))
        d.offset_mm = tr_v3_sub(measured_pose(result, target).t_mm, c);
    double largest = hypot(d.offset_mm.x, d.offset_mm.y);
    if (t->axis[TR_X].is_judged) largest = fmax(largest, t->axis[TR_X].limit);
    if (t->axis[TR_Y].is_judged) largest = fmax(largest, t->axis[TR_Y].limit);
    int k = enlargement(scale, largest, OFFSET * fmin(box.width, box.height), fabs(d.turn_rad));
    while (k + 1 < N_FACTORS &&
           !is_in_box(&d.plan, box, sheet, enlarged(t, FACTORS[k], d.offset_mm, d.turn_rad))) {
        k++;
    }
    d.factor = FACTORS[k];
    return d;
}

/* A large sheet leaves its error little room: it is drawn smaller where u95 can be read only so. */
static detail detail_of(tr_canvas *canvas, tr_box box, const tr_check_result *result, int target) {
    static const double SHARES[] = {0.66, 0.5, 0.38};
    static const double READABLE_PX = 7;
    enum { N = sizeof SHARES / sizeof *SHARES };
    const tr_target_result *t = &result->targets[target];
    detail best = detail_with(canvas, box, result, target, SHARES[0]);
    for (int i = 1; i < N && u95_px(&best, t) < READABLE_PX; i++) {
        detail d = detail_with(canvas, box, result, target, SHARES[i]);
        if (u95_px(&d, t) > u95_px(&best, t)) best = d;
    }
    return best;
}

/* What of it is drawn, and no more. */
static void detail_text(const detail *d, int target, char *text, size_t size) {
    const tr_target_result *t = &d->plan.result->targets[target];
    char scale[128];
    if (!is_target_placed(d->plan.result, target)) {
        snprintf(text, size, "%s", TR_("Where the sheet should lie; it was not measured"));
        return;
    }
    if (d->factor <= 1)
        snprintf(scale, sizeof scale, "%s", TR_("Offset drawn to scale"));
    else
        snprintf(scale, sizeof scale, TR_("Offset drawn %.0f times as large"), d->factor);
    if (has_limits(t) && has_u95(t))
        snprintf(text, size, TR_("%s; grey: limits of the centre, box: its u95"), scale);
    else if (has_limits(t))
        snprintf(text, size, TR_("%s; grey: limits of the centre"), scale);
    else if (has_u95(t))
        snprintf(text, size, TR_("%s; box: u95 of the centre"), scale);
    else
        snprintf(text, size, "%s", scale);
}

static void draw_slide(const plan *p, const tr_target_result *t, tr_vec3 centre_mm) {
    tr_vec2 from = on_page(p, centre_mm.x, centre_mm.y);
    tr_vec2 to = on_page(p, t->vehicle_from_required.t_mm.x, t->vehicle_from_required.t_mm.y);
    set_pen(p, 4, tr_verdict_colour(t->verdict));
    cairo_move_to(p->canvas->cr, from.x, from.y);
    cairo_line_to(p->canvas->cr, to.x, to.y);
    cairo_stroke(p->canvas->cr);
    tr_canvas_head(p->canvas, from, to, fmin(22, 0.7 * tr_v2_norm(tr_v2_sub(to, from))));
}

void tr_plan_draw_detail(tr_canvas *canvas, tr_box box, const tr_check_result *result, int target,
                         double words_px) {
    const tr_target_result *t = &result->targets[target];
    const tr_sheet_result *sheet = sheet_of(result, target);
    const tr_type type = {.size_px = words_px,
                          .smallest_px = 14,
                          .colour = TR_INK,
                          .align = TR_ALIGN_CENTRE,
                          .lines = 2};
    char text[256];
    double below = 2.6 * words_px;
    tr_box drawing = {box.x, box.y, box.width, box.height - below};
    detail d = detail_of(canvas, drawing, result, target);
    const plan *p = &d.plan;
    tr_vec3 corners[4];

    cairo_save(canvas->cr);
    cairo_rectangle(canvas->cr, drawing.x, drawing.y, drawing.width, drawing.height);
    cairo_clip(canvas->cr);
    draw_limits(p, t, d.factor);
    tr_sheet_outline(sheet, t->vehicle_from_required, corners);
    set_pen(p, THIN_PX + 1, TR_INK);
    draw_cross_mm(p, t->vehicle_from_required.t_mm, 26);
    set_dash(p, 12, 8);
    draw_outline(p, corners);
    if (is_target_placed(result, target)) {
        tr_pose shown = enlarged(t, d.factor, d.offset_mm, d.turn_rad);
        tr_sheet_outline(sheet, shown, corners);
        set_pen(p, THICK_PX, tr_verdict_colour(t->verdict));
        draw_outline(p, corners);
        draw_u95(p, t, shown.t_mm, d.factor);
        if (tr_target_has_slide(t)) draw_slide(p, t, shown.t_mm);
    }
    cairo_restore(canvas->cr);
    detail_text(&d, target, text, sizeof text);
    tr_canvas_text(canvas, box.x, box.y + box.height - below + 4, box.width, type, text);
}
