#include "print/artwork.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/language.h"
#include "base/number.h"
#include "tags/family.h"
#include "print/pages.h"

/* Squares about a lone corner. The measurement looks at no more than 45 mm of their edges
   (marks/marks.c), and at no less than 7 mm. */
static const double MAX_SQUARE_MM = 50;
static const double MIN_SQUARE_MM = 7;
/* Of the distance to the next corner; what is left keeps their squares apart. */
static const double SQUARE_OF_STEP = 0.45;
/* Of the room to a tag's white rim, and to the edge of the face: there the rules find room. */
static const double SQUARE_OF_GAP = 0.95;
static const double SQUARE_OF_EDGE = 0.7;

/* Corners that are this near to a full grid are one. mm */
static const double GRID_TOLERANCE_MM = 1e-3;
static const double MIN_PITCH_MM = 1;
enum { MIN_GRID = 3 }; /* inner corners along either side: fewer are lone corners */
/* White ground round a checkerboard, of a square: the finder of boards needs a light rim. */
static const double BOARD_RIM = 0.2;

/* White ground round a black disc, and round the square of a white one, of the diameter. */
static const double DISC_RIM = 0.1;

static const double HAIR_MM = 0.2; /* lines to measure by */
static const double TICK_MM = 5;   /* marks at the edges of the face */

/* ---- marks ---- */

static int rim_cells(const tr_tag_pattern *pattern) {
    /* A family with a dark border needs one white cell round it; its image has it. */
    return pattern->cells > pattern->border ? pattern->cells : pattern->border + 1;
}

double tr_artwork_tag_part(const char *family_name, double *cells, tr_error *err) {
    tr_tag_pattern pattern;
    struct apriltag_family *family = tr_tag_family_new(family_name, err);
    if (!family) return 0;
    bool ok = tr_tag_pattern_make(family, 0, &pattern);
    tr_tag_family_free(family);
    if (!ok) tr_fail(err, TR_BAD_INPUT, "the tag family %s cannot be printed", family_name);
    if (!ok) return 0;
    *cells = pattern.border;
    return (double)rim_cells(&pattern) / pattern.border;
}

static tr_area tag_area(const tr_tag *tag, double part) {
    double side = part * tag->size_mm * (fabs(cos(tag->turn_rad)) + fabs(sin(tag->turn_rad)));
    return tr_area_about(tag->centre_mm, side, side);
}

/* Whether the corners are exactly the inner corners of columns x rows with equal steps. */
static bool is_grid(const tr_sheet *s, tr_vec2 low, tr_vec2 high, int columns, int rows,
                    uint8_t *is_seen) {
    double pitch = (high.x - low.x) / (columns - 1);
    if (!(pitch >= MIN_PITCH_MM)) return false;
    if (!(fabs((high.y - low.y) - pitch * (rows - 1)) <= GRID_TOLERANCE_MM)) return false;
    memset(is_seen, 0, (size_t)s->n_corners);
    for (int i = 0; i < s->n_corners; i++) {
        double c = (s->corners_mm[i].x - low.x) / pitch;
        double r = (s->corners_mm[i].y - low.y) / pitch;
        int column = (int)lround(c);
        int row = (int)lround(r);
        if (fmax(fabs(c - column), fabs(r - row)) * pitch > GRID_TOLERANCE_MM) return false;
        if (is_seen[row * columns + column]) return false;
        is_seen[row * columns + column] = 1;
    }
    return true;
}

/* All that is black of a disc. */
static tr_area ink_of_disc(const tr_disc *disc) {
    double side = disc->diameter_mm * (disc->is_white ? TR_DISC_GROUND : 1);
    return tr_area_about(disc->centre_mm, side, side);
}

static tr_area board_area(const tr_grid_board *b, double rim_mm) {
    return tr_area_about(b->centre_mm, b->squares_x * b->pitch_mm + 2 * rim_mm,
                         b->squares_y * b->pitch_mm + 2 * rim_mm);
}

/* A board whose squares would come over a tag or the face's edge is none: its corners are lone. */
static bool has_room_for_board(const tr_artwork *a, const tr_grid_board *b) {
    tr_area squares = board_area(b, 0);
    for (int i = 0; i < a->sheet->n_tags; i++) {
        if (!(tr_area_gap(squares, a->marks[i]) > 0)) return false;
    }
    for (int i = 0; i < a->sheet->n_discs; i++) {
        if (!(tr_area_gap(squares, ink_of_disc(&a->sheet->discs[i])) > 0)) return false;
    }
    return squares.left >= -a->sheet->width_mm / 2 && squares.right <= a->sheet->width_mm / 2 &&
           squares.bottom >= -a->sheet->height_mm / 2 && squares.top <= a->sheet->height_mm / 2;
}

static bool find_board(tr_artwork *a, tr_error *err) {
    const tr_sheet *s = a->sheet;
    int n = s->n_corners;
    if (n < MIN_GRID * MIN_GRID) return true;
    uint8_t *is_seen = malloc((size_t)n);
    if (!is_seen) return tr_fail_memory(err);
    tr_vec2 low = s->corners_mm[0];
    tr_vec2 high = low;
    for (int i = 1; i < n; i++) {
        low = tr_v2(fmin(low.x, s->corners_mm[i].x), fmin(low.y, s->corners_mm[i].y));
        high = tr_v2(fmax(high.x, s->corners_mm[i].x), fmax(high.y, s->corners_mm[i].y));
    }
    for (int columns = MIN_GRID; columns <= n / MIN_GRID; columns++) {
        if (n % columns != 0 || !is_grid(s, low, high, columns, n / columns, is_seen)) continue;
        tr_grid_board board = {columns + 1, n / columns + 1, (high.x - low.x) / (columns - 1),
                               tr_v2_scale(0.5, tr_v2_add(low, high))};
        if (has_room_for_board(a, &board)) a->board = board;
        break;
    }
    free(is_seen);
    return true;
}

/* How large the squares about a lone corner may be. */
static double square_size(const tr_artwork *a, int corner) {
    const tr_sheet *s = a->sheet;
    tr_vec2 c = s->corners_mm[corner];
    double to_edge = fmin(s->width_mm / 2 - fabs(c.x), s->height_mm / 2 - fabs(c.y));
    double size = fmin(MAX_SQUARE_MM, SQUARE_OF_EDGE * to_edge);
    for (int i = 0; i < s->n_tags; i++)
        size = fmin(size, SQUARE_OF_GAP * tr_area_gap(tr_area_about(c, 0, 0), a->marks[i]));
    for (int i = 0; i < s->n_discs; i++) {
        tr_area ink = ink_of_disc(&s->discs[i]);
        size = fmin(size, SQUARE_OF_GAP * tr_area_gap(tr_area_about(c, 0, 0), ink));
    }
    for (int i = 0; i < s->n_corners; i++) {
        tr_vec2 d = tr_v2_sub(s->corners_mm[i], c);
        if (i != corner) size = fmin(size, SQUARE_OF_STEP * fmax(fabs(d.x), fabs(d.y)));
    }
    return size;
}

static bool size_corners(tr_artwork *a, tr_error *err) {
    const tr_sheet *s = a->sheet;
    for (int i = 0; i < s->n_corners; i++) {
        double size = square_size(a, i);
        if (!(size >= MIN_SQUARE_MM)) {
            return tr_fail_at(err, TR_BAD_INPUT, s->path, 0, NULL,
                              "corners_mm[%d] leaves its squares %.1f mm, but they need at least "
                              "%.0f mm; move it away from tags, other corners and the edge",
                              i, fmax(0, size), MIN_SQUARE_MM);
        }
        a->square_mm[i] = size;
        a->marks[a->n_marks++] = tr_area_about(s->corners_mm[i], 2 * size, 2 * size);
    }
    return true;
}

static bool is_upright(const tr_tag *tag) {
    return fabs(sin(2 * tag->turn_rad)) < 1e-9;
}

/* Black may come up to the white rim of the next tag, not into it. Of tags that stand askew only
   the areas about them are known. */
static bool is_in_rim(const tr_tag *a, const tr_tag *b, double part) {
    static const double TOUCH_MM = 1e-6;
    if (!is_upright(a) || !is_upright(b)) return false;
    tr_vec2 d = tr_v2_sub(a->centre_mm, b->centre_mm);
    double apart = (fmax(a->size_mm, b->size_mm) * part + fmin(a->size_mm, b->size_mm)) / 2;
    return fmax(fabs(d.x), fabs(d.y)) < apart - TOUCH_MM;
}

static bool is_on_face(const tr_sheet *s, tr_area area) {
    return area.left >= -s->width_mm / 2 && area.right <= s->width_mm / 2 &&
           area.bottom >= -s->height_mm / 2 && area.top <= s->height_mm / 2;
}

/* The ground of white discs is ink, which the sheet's reader does not know of. */
static bool place_discs(tr_artwork *a, tr_error *err) {
    const tr_sheet *s = a->sheet;
    for (int i = 0; i < s->n_discs; i++) {
        const tr_disc *disc = &s->discs[i];
        tr_area ink = ink_of_disc(disc);
        bool has_room = !disc->is_white || is_on_face(s, ink);
        for (int k = 0; k < s->n_tags && disc->is_white; k++) {
            has_room = has_room && tr_area_gap(ink, a->marks[k]) > 0;
        }
        for (int k = 0; k < s->n_discs && disc->is_white; k++) {
            has_room = has_room && (k == i || tr_area_gap(ink, ink_of_disc(&s->discs[k])) > 0);
        }
        if (!has_room) {
            return tr_fail_at(err, TR_BAD_INPUT, s->path, disc->line, NULL,
                              "the black square of %g mm about this white disc would lie over "
                              "another mark or the edge of the face; move the disc, or print the "
                              "sheet by other means",
                              ink.right - ink.left);
        }
        double rim = 2 * DISC_RIM * disc->diameter_mm;
        a->marks[a->n_marks++] =
            tr_area_about(disc->centre_mm, ink.right - ink.left + rim, ink.top - ink.bottom + rim);
    }
    return true;
}

static bool place_marks(tr_artwork *a, tr_error *err) {
    const tr_sheet *s = a->sheet;
    double cells;
    double part = tr_artwork_tag_part(s->tag_family, &cells, err);
    if (!(part > 0)) return false;
    for (int i = 0; i < s->n_tags; i++) {
        a->marks[i] = tag_area(&s->tags[i], part);
        for (int j = 0; j < i; j++) {
            if (!is_in_rim(&s->tags[i], &s->tags[j], part)) continue;
            return tr_fail_at(err, TR_BAD_INPUT, s->path, s->tags[i].line, NULL,
                              "tag %d reaches into the white rim of tag %d; move them apart",
                              s->tags[i].id, s->tags[j].id);
        }
    }
    a->n_marks = s->n_tags;
    if (!find_board(a, err)) return false;
    if (a->board.squares_x == 0) {
        if (!size_corners(a, err)) return false;
    } else {
        a->marks[a->n_marks++] = board_area(&a->board, BOARD_RIM * a->board.pitch_mm);
    }
    a->first_disc = a->n_marks;
    return place_discs(a, err);
}

/* ---- what is put where there is room ---- */

static double smaller_side(const tr_sheet *s) {
    return fmin(s->width_mm, s->height_mm);
}

/* What is too large for the room that there is gets smaller step by step. */
static double shrunk(double size, int step) {
    return size * pow(0.93, step);
}

static double clamp(double x, double low, double high) {
    return fmin(fmax(x, low), high);
}

/* A face of a size that paper comes in is printed without being cut: printers leave out a margin of
   up to some 6 mm. */
static double edge_mm(const tr_sheet *s) {
    static const double PRINTER_MM = 7;
    return tr_paper_of_size(s->width_mm, s->height_mm) ? PRINTER_MM
                                                       : clamp(0.01 * smaller_side(s), 2, 10);
}

static void put(tr_artwork *a, tr_placed *what, tr_area area) {
    what->is_there = true;
    what->area = area;
    tr_room_take(&a->room, area);
}

static bool try_put(tr_artwork *a, tr_placed *what, double width, double height, tr_vec2 near) {
    tr_area area;
    if (!tr_room_find(&a->room, width, height, near, &area)) return false;
    put(a, what, area);
    return true;
}

/* Cross and circle, the cross half as far again; as large as fits. */
static void put_centre(tr_artwork *a) {
    static const double SMALLEST_MM = 6;
    double most = clamp(0.1 * smaller_side(a->sheet), 8, 60);
    double side = most;
    for (int step = 1; side >= SMALLEST_MM && !a->centre.is_there; step++) {
        tr_area area = tr_area_about(tr_v2(0, 0), side, side);
        if (tr_room_is_free(&a->room, area)) put(a, &a->centre, area);
        side = shrunk(most, step);
    }
}

static bool is_side(int edge) {
    return edge == TR_RIGHT || edge == TR_LEFT;
}

/* The place `inside` mm from the middle of an edge, and `along` mm from there upwards or right. */
static tr_vec2 place_at_edge(const tr_sheet *s, int edge, double inside, double along) {
    double from_centre = (is_side(edge) ? s->width_mm : s->height_mm) / 2 - inside;
    if (edge == TR_LEFT || edge == TR_BOTTOM) from_centre = -from_centre;
    return is_side(edge) ? tr_v2(from_centre, along) : tr_v2(along, from_centre);
}

/* along: how far it reaches along the edge. */
static tr_area area_at_edge(int edge, tr_vec2 centre, double along, double across) {
    return is_side(edge) ? tr_area_about(centre, across, along)
                         : tr_area_about(centre, along, across);
}

/* A mark that stands at an edge, with letters on both sides of it. Heads to the edge: whoever lays
   the sheet has what it is laid at before him. */
typedef struct {
    double along_mm, across_mm; /* of the mark alone */
    const char *before, *behind;
} edge_mark;

static const double EDGE_MARK_GAP_MM = 1.5; /* to its letters */

/* Puts the mark about a place, its letters as large as there is room for there. */
static bool try_edge_mark(tr_artwork *a, const edge_mark *m, int edge, tr_vec2 centre,
                          tr_placed *what, double *letters_mm) {
    static const double SMALLEST_MM = 2;
    double largest = clamp(0.016 * smaller_side(a->sheet), 2.6, 6);
    for (int step = 0; shrunk(largest, step) >= SMALLEST_MM; step++) {
        double before, behind, height;
        tr_letters how = {.size_mm = shrunk(largest, step)};
        tr_lettering_measure(&a->lettering, how, m->before, &before, &height);
        tr_lettering_measure(&a->lettering, how, m->behind, &behind, &height);
        double along = m->along_mm + 2 * (EDGE_MARK_GAP_MM + fmax(before, behind));
        tr_area area = area_at_edge(edge, centre, along, fmax(m->across_mm, height));
        if (!tr_room_is_free(&a->room, area)) continue;
        put(a, what, area);
        *letters_mm = how.size_mm;
        return true;
    }
    return false;
}

static void write_at(tr_artwork *a, tr_vec2 at) {
    char x[TR_NUMBER_SIZE], y[TR_NUMBER_SIZE];
    tr_number_print_short(at.x, x);
    tr_number_print_short(at.y, y);
    snprintf(a->at_text, sizeof a->at_text, "at_mm: [%s, %s]", x, y);
}

static const double PLUMB_MM = 6; /* across the mark */

/* What a job says of it on one side, what to do on the other. */
static edge_mark plumb_mark(const tr_artwork *a) {
    return (edge_mark){PLUMB_MM, PLUMB_MM, a->at_text, TR_("this edge to the tyre")};
}

static bool try_plumb(tr_artwork *a, int edge, tr_vec2 at) {
    write_at(a, at);
    edge_mark mark = plumb_mark(a);
    if (!try_edge_mark(a, &mark, edge, at, &a->plumb, &a->plumb_size_mm)) return false;
    a->plumb_mm = at;
    a->plumb_edge = edge;
    return true;
}

/* Near the middle of a long edge, or else of a short one, at a place that is easily typed. */
static bool put_plumb(tr_artwork *a, tr_error *err) {
    static const double INSIDE_MM = 10, STEP_MM = 5, PLACE_STEP_MM = 0.5, NEAR_MIDDLE = 0.25;
    static const int UPRIGHT[] = {TR_RIGHT, TR_LEFT, TR_TOP, TR_BOTTOM};
    static const int WIDE[] = {TR_TOP, TR_BOTTOM, TR_RIGHT, TR_LEFT};
    const tr_sheet *s = a->sheet;
    if (s->kind != TR_SHEET_PLATE || s->has_tip) return true;
    double inside = fmax(INSIDE_MM, edge_mm(s) + PLUMB_MM / 2);
    for (int i = 0; i < TR_N_EDGES; i++) {
        int edge = s->height_mm >= s->width_mm ? UPRIGHT[i] : WIDE[i];
        double length = is_side(edge) ? s->height_mm : s->width_mm;
        double depth = (is_side(edge) ? s->width_mm : s->height_mm) / 2;
        /* What is left over of a step lies towards the edge. */
        double left_over = fmod(depth - inside, PLACE_STEP_MM);
        if (!(depth > inside + PLUMB_MM)) continue;
        for (int k = 0; (k + 1) / 2 * STEP_MM <= NEAR_MIDDLE * length; k++) {
            int steps = k % 2 == 0 ? -k / 2 : (k + 1) / 2;
            tr_vec2 at = place_at_edge(s, edge, inside + left_over, steps * STEP_MM);
            if (try_plumb(a, edge, at)) return true;
        }
    }
    return tr_note(NO_ROOM_PLUMB_MARK, &a->left_out, err);
}

static const double TIP_LENGTH_MM = 14, TIP_WIDTH_MM = 8;

static edge_mark tip_mark(const tr_artwork *a) {
    return (edge_mark){TIP_WIDTH_MM, TIP_LENGTH_MM, a->at_text, TR_("tip to the point")};
}

static int nearest_edge(const tr_sheet *s, tr_vec2 p) {
    const double to[TR_N_EDGES] = {[TR_BOTTOM] = s->height_mm / 2 + p.y,
                                   [TR_RIGHT] = s->width_mm / 2 - p.x,
                                   [TR_TOP] = s->height_mm / 2 - p.y,
                                   [TR_LEFT] = s->width_mm / 2 + p.x};
    int nearest = TR_TOP;
    for (int k = 0; k < TR_N_EDGES; k++) nearest = to[k] < to[nearest] ? k : nearest;
    return nearest;
}

/* The arrow head lies inside of its tip. */
static bool put_tip(tr_artwork *a, tr_error *err) {
    static const tr_vec2 INWARD[TR_N_EDGES] = {
        [TR_BOTTOM] = {0, 1}, [TR_RIGHT] = {-1, 0}, [TR_TOP] = {0, -1}, [TR_LEFT] = {1, 0}};
    const tr_sheet *s = a->sheet;
    if (!s->has_tip) return true;
    a->tip_edge = nearest_edge(s, s->tip_mm);
    write_at(a, s->tip_mm);
    edge_mark mark = tip_mark(a);
    tr_vec2 centre = tr_v2_add(s->tip_mm, tr_v2_scale(TIP_LENGTH_MM / 2, INWARD[a->tip_edge]));
    return try_edge_mark(a, &mark, a->tip_edge, centre, &a->tip, &a->tip_size_mm) ||
           tr_note(NO_ROOM_TIP, &a->left_out, err);
}

/* A line that goes down to the edge; where it ends, the floor can be marked. */
static const double FOOT_MM = 6;

static edge_mark foot_mark(void) {
    return (edge_mark){2, FOOT_MM, TR_("place of the stand's foot:"),
                       TR_("mark the floor below this line")};
}

static bool put_foot(tr_artwork *a, tr_error *err) {
    const tr_sheet *s = a->sheet;
    if (s->kind != TR_SHEET_BOARD || a->board.squares_x > 0) return true;
    tr_vec2 at = place_at_edge(s, TR_BOTTOM, edge_mm(s) + FOOT_MM / 2, 0);
    const edge_mark mark = foot_mark();
    return try_edge_mark(a, &mark, TR_BOTTOM, at, &a->foot, &a->foot_size_mm) ||
           tr_note(NO_ROOM_FOOT_MARK, &a->left_out, err);
}

const char *tr_artwork_tell_place(const tr_artwork *a, char text[768]) {
    if (a->plumb.is_there) {
        snprintf(text, 768,
                 TR_("Plumb mark: %s. Its edge goes against the tyre, the bob's tip over the mark; "
                     "in the job the plate's reference needs the same at_mm."),
                 a->at_text);
    } else if (a->tip.is_there) {
        snprintf(text, 768,
                 TR_("Tip: %s. The plate is laid with its tip at the point that it marks. List it "
                     "in the job under 'pointers'; its sheet file says where the tip is. Where it "
                     "marks a point of the vehicle instead, its reference needs the same at_mm."),
                 a->at_text);
    }
    return a->plumb.is_there || a->tip.is_there ? text : NULL;
}

static tr_area tick_area(const tr_sheet *s, int edge) {
    return area_at_edge(edge, place_at_edge(s, edge, edge_mm(s) + TICK_MM / 2, 0), 2, TICK_MM);
}

static void put_ticks(tr_artwork *a) {
    for (int k = 0; k < TR_N_EDGES; k++) {
        tr_area area = tick_area(a->sheet, k);
        a->has_tick[k] = tr_room_is_free(&a->room, area);
        if (a->has_tick[k]) tr_room_take(&a->room, area);
    }
}

/* On a large sheet aside of its middle, where tiles are likely to be cut. */
static bool put_rules(tr_artwork *a, tr_error *err) {
    static const double LARGE_MM = 450, LEFT = 0.2, ABOVE = 0.25;
    const tr_sheet *s = a->sheet;
    double left = s->width_mm > LARGE_MM ? LEFT * s->width_mm : 0;
    double above = s->height_mm > LARGE_MM ? ABOVE * s->height_mm : 0;
    if (!try_put(a, &a->rule_across, TR_RULE_LENGTH_MM, TR_RULE_WIDTH_MM,
                 tr_v2(-left, -0.3 * s->height_mm)) &&
        !tr_note(NO_ROOM_RULE_ACROSS, &a->left_out, err)) {
        return false;
    }
    return try_put(a, &a->rule_up, TR_RULE_WIDTH_MM, TR_RULE_LENGTH_MM,
                   tr_v2(-0.35 * s->width_mm, above)) ||
           tr_note(NO_ROOM_UPRIGHT_RULE, &a->left_out, err);
}

/* The size at which the title is no wider than the id above it, within what can be read. */
static double title_size(tr_artwork *a, double id_size, double id_width) {
    static const double SMALLEST_MM = 2.6;
    double width;
    double height;
    tr_lettering_measure(&a->lettering, (tr_letters){.size_mm = 1}, a->sheet->title, &width,
                         &height);
    return fmax(SMALLEST_MM, fmin(0.35 * id_size, id_width / fmax(width, 1)));
}

static bool put_id(tr_artwork *a, tr_error *err) {
    static const double SMALLEST_MM = 4;
    const tr_sheet *s = a->sheet;
    double largest = clamp(0.12 * smaller_side(s), 8, 120);
    for (int step = 0; shrunk(largest, step) >= SMALLEST_MM; step++) {
        double size = shrunk(largest, step);
        double width, height, title_width, title_height;
        tr_lettering_measure(&a->lettering, (tr_letters){.size_mm = size, .is_bold = true}, s->id,
                             &width, &height);
        double small = title_size(a, size, width);
        tr_lettering_measure(&a->lettering, (tr_letters){.size_mm = small}, s->title, &title_width,
                             &title_height);
        a->id_size_mm = size;
        a->title_size_mm = small;
        tr_vec2 near = tr_v2(0, -0.12 * s->height_mm);
        if (try_put(a, &a->id, fmax(width, title_width) + 2, height + title_height, near)) {
            return true;
        }
        a->title_size_mm = 0;
        if (size < 2 * SMALLEST_MM && try_put(a, &a->id, width + 2, height, near)) return true;
    }
    return tr_note(NO_ROOM_SHEET_ID, &a->left_out, err);
}

static bool put_arrow(tr_artwork *a, tr_error *err) {
    static const double SMALLEST_MM = 10;
    const tr_sheet *s = a->sheet;
    double largest = clamp(0.2 * smaller_side(s), SMALLEST_MM, 200);
    for (int step = 0; shrunk(largest, step) >= SMALLEST_MM; step++) {
        double height = shrunk(largest, step);
        if (try_put(a, &a->arrow, 0.5 * height, height, tr_v2(0, 0.12 * s->height_mm))) return true;
    }
    return tr_note(NO_ROOM_UP_ARROW, &a->left_out, err);
}

/* A plumb mark or a foot's line in the middle of an edge does for a tick. */
static bool has_middle(const tr_artwork *a, int edge) {
    tr_vec2 at = a->plumb_mm;
    return a->has_tick[edge] || (a->foot.is_there && edge == TR_BOTTOM) ||
           (a->plumb.is_there && a->plumb_edge == edge && (is_side(edge) ? at.y : at.x) == 0);
}

static void write_note(const tr_artwork *a, char *out, size_t size) {
    const tr_sheet *s = a->sheet;
    char width[TR_NUMBER_SIZE], height[TR_NUMBER_SIZE], edge[TR_NUMBER_SIZE];
    tr_number_print_short(s->width_mm, width);
    tr_number_print_short(s->height_mm, height);
    tr_number_print_short(s->tags[0].size_mm, edge);
    bool has_ticks = true;
    for (int k = 0; k < TR_N_EDGES; k++) has_ticks = has_ticks && has_middle(a, k);
    bool has_rules = a->rule_across.is_there && a->rule_up.is_there;
    char square[256] = "", check[384];
    if (a->board.squares_x > 0) {
        char pitch[TR_NUMBER_SIZE];
        tr_number_print_short(a->board.pitch_mm, pitch);
        square[0] = ' ';
        snprintf(square + 1, sizeof square - 1, TR_("%d x %d squares of %s mm."),
                 a->board.squares_x, a->board.squares_y, pitch);
    }
    if (has_rules) {
        snprintf(check, sizeof check, "%s",
                 TR_("Print at 100 %, not “fit to page”. Check before use: both rules must measure "
                     "100 mm."));
    } else {
        snprintf(check, sizeof check,
                 TR_("Print at 100 %%, not “fit to page”. Check before use: the black square of a "
                     "tag must measure %s mm both ways."),
                 edge);
    }
    bool has_centre = a->centre.is_there || !has_ticks || a->board.squares_x > 0;
    snprintf(out, size, "%s, %s x %s mm, %s.%s %s%s%s", s->id, width, height, s->tag_family, square,
             check, has_centre ? "" : " ",
             has_centre ? "" : TR_("Centre: where the lines between opposite edge marks cross."));
}

static const double NOTE_GAP_MM = 1; /* beside it, to what else is printed; lines bring their own */

static bool put_note(tr_artwork *a, tr_error *err) {
    static const double SMALLEST_MM = 2;
    static const int COLUMNS[] = {84, 70, 56, 46, 36, 28, 22, 16, 100, 125, 150};
    const tr_sheet *s = a->sheet;
    write_note(a, a->english_note, sizeof a->english_note);
    double largest = clamp(0.012 * smaller_side(s), 2.6, 9);
    for (int step = 0; shrunk(largest, step) >= SMALLEST_MM; step++) {
        double size = shrunk(largest, step);
        for (size_t k = 0; k < sizeof COLUMNS / sizeof *COLUMNS; k++) {
            double width = 0.55 * size * COLUMNS[k];
            double used;
            double height;
            tr_lettering_measure(&a->lettering, (tr_letters){.size_mm = size, .width_mm = width},
                                 a->english_note, &used, &height);
            a->note_size_mm = size;
            if (try_put(a, &a->note, width + 2 * NOTE_GAP_MM, height, tr_v2(0, -s->height_mm / 2)))
                return true;
        }
    }
    return tr_note(NO_ROOM_NOTE, &a->left_out, err);
}

/* Tags and boards bring their white rim; round the squares of a corner a little is left, too. */
static void take_mark(tr_artwork *a, int mark) {
    static const double PART = 0.025; /* of the four squares together */
    tr_area m = a->marks[mark];
    bool is_corner = mark >= a->sheet->n_tags && mark < a->first_disc && a->board.squares_x == 0;
    double rim = is_corner ? PART * (m.right - m.left) : 0;
    tr_room_take(&a->room, tr_area_about(tr_area_centre(m), m.right - m.left + 2 * rim,
                                         m.top - m.bottom + 2 * rim));
}

static bool put_marks(tr_artwork *a, tr_error *err) {
    put_centre(a);
    if (!put_plumb(a, err) || !put_tip(a, err) || !put_foot(a, err)) return false;
    put_ticks(a);
    return put_rules(a, err) && put_id(a, err) && put_arrow(a, err) && put_note(a, err);
}

/* The room that words get is that of the English ones: a plumb mark lies at the same place in every
   language, as a job that was written for one print is used with the next. */
static bool put_all(tr_artwork *a, tr_error *err) {
    tr_english_begin();
    bool ok = put_marks(a, err);
    tr_english_end();
    write_note(a, a->note_text, sizeof a->note_text);
    return ok;
}

bool tr_artwork_make(const tr_sheet *sheet, tr_artwork *out, tr_error *err) {
    *out = (tr_artwork){.sheet = sheet};
    tr_lettering_init(&out->lettering);
    out->square_mm = calloc((size_t)sheet->n_corners + 1, sizeof *out->square_mm);
    out->marks = calloc((size_t)tr_sheet_n_marks(sheet) + 1, sizeof *out->marks);
    double edge = edge_mm(sheet);
    tr_area whole =
        tr_area_about(tr_v2(0, 0), sheet->width_mm - 2 * edge, sheet->height_mm - 2 * edge);
    bool ok = (out->square_mm && out->marks) || tr_fail_memory(err);
    ok = ok && place_marks(out, err) && tr_room_init(&out->room, whole, err);
    for (int i = 0; i < out->n_marks && ok; i++) take_mark(out, i);
    ok = ok && put_all(out, err);
    if (!ok) tr_artwork_release(out);
    return ok;
}

void tr_artwork_release(tr_artwork *a) {
    tr_lettering_release(&a->lettering);
    tr_room_release(&a->room);
    tr_findings_release(&a->left_out);
    free(a->square_mm);
    free(a->marks);
    *a = (tr_artwork){0};
}

/* ---- drawing ---- */

static void black(cairo_t *cr) {
    cairo_set_source_rgb(cr, 0, 0, 0);
}

/* columns x rows square cells about a centre. is_black: row by row from the top left. */
typedef struct {
    tr_vec2 centre;
    double turn_rad, cell_mm;
    int columns, rows;
    bool (*is_black)(const void *context, int column, int row);
    const void *context;
} cell_grid;

/* Neighbours share their corners to the last bit, and all are one path, so that no seam shows
   between them. */
static void draw_cells(cairo_t *cr, const cell_grid *g) {
    double c = cos(g->turn_rad);
    double s = sin(g->turn_rad);
    for (int row = 0; row < g->rows; row++) {
        for (int column = 0; column < g->columns; column++) {
            if (!g->is_black(g->context, column, row)) continue;
            static const int CORNER[4][2] = {{0, 0}, {1, 0}, {1, 1}, {0, 1}};
            for (int k = 0; k < 4; k++) {
                double x = (column + CORNER[k][0] - g->columns / 2.0) * g->cell_mm;
                double y = (g->rows / 2.0 - row - CORNER[k][1]) * g->cell_mm;
                double page_x = g->centre.x + c * x - s * y;
                double page_y = -(g->centre.y + s * x + c * y);
                if (k == 0)
                    cairo_move_to(cr, page_x, page_y);
                else
                    cairo_line_to(cr, page_x, page_y);
            }
            cairo_close_path(cr);
        }
    }
    cairo_fill(cr);
}

static bool is_tag_black(const void *context, int column, int row) {
    const tr_tag_pattern *pattern = context;
    return !pattern->is_white[row][column];
}

static bool is_checker_black(const void *context, int column, int row) {
    (void)context;
    return (column + row) % 2 == 0;
}

static bool draw_tags(const tr_artwork *a, cairo_t *cr, tr_error *err) {
    const tr_sheet *s = a->sheet;
    struct apriltag_family *family = tr_tag_family_new(s->tag_family, err);
    if (!family) return false;
    bool ok = true;
    for (int i = 0; i < s->n_tags && ok; i++) {
        const tr_tag *tag = &s->tags[i];
        tr_tag_pattern pattern;
        ok = tr_tag_pattern_make(family, tag->id, &pattern);
        if (!ok) {
            tr_fail_at(err, TR_BAD_INPUT, s->path, tag->line, NULL, "the family %s has no tag %d",
                       s->tag_family, tag->id);
            break;
        }
        draw_cells(cr, &(cell_grid){.centre = tag->centre_mm,
                                    .turn_rad = tag->turn_rad,
                                    .cell_mm = tag->size_mm / pattern.border,
                                    .columns = pattern.cells,
                                    .rows = pattern.cells,
                                    .is_black = is_tag_black,
                                    .context = &pattern});
    }
    tr_tag_family_free(family);
    return ok;
}

static void draw_corners(const tr_artwork *a, cairo_t *cr) {
    const tr_grid_board *b = &a->board;
    if (b->squares_x > 0) {
        draw_cells(cr, &(cell_grid){.centre = b->centre_mm,
                                    .cell_mm = b->pitch_mm,
                                    .columns = b->squares_x,
                                    .rows = b->squares_y,
                                    .is_black = is_checker_black});
        return;
    }
    for (int i = 0; i < a->sheet->n_corners; i++) {
        draw_cells(cr, &(cell_grid){.centre = a->sheet->corners_mm[i],
                                    .cell_mm = a->square_mm[i],
                                    .columns = 2,
                                    .rows = 2,
                                    .is_black = is_checker_black});
    }
}

/* The square about a white disc and its circle run opposite ways: between them is ink. */
static void draw_discs(const tr_artwork *a, cairo_t *cr) {
    for (int i = 0; i < a->sheet->n_discs; i++) {
        const tr_disc *d = &a->sheet->discs[i];
        double radius = d->diameter_mm / 2;
        tr_area ink = ink_of_disc(d);
        cairo_new_sub_path(cr);
        cairo_arc(cr, d->centre_mm.x, -d->centre_mm.y, radius, 0, 2 * TR_PI);
        cairo_close_path(cr);
        if (!d->is_white) continue;
        cairo_move_to(cr, ink.left, -ink.top);
        cairo_line_to(cr, ink.left, -ink.bottom);
        cairo_line_to(cr, ink.right, -ink.bottom);
        cairo_line_to(cr, ink.right, -ink.top);
        cairo_close_path(cr);
    }
    cairo_fill(cr);
}

static void line(cairo_t *cr, double x1, double y1, double x2, double y2) {
    cairo_move_to(cr, x1, y1);
    cairo_line_to(cr, x2, y2);
    cairo_stroke(cr);
}

static void draw_centre(const tr_artwork *a, cairo_t *cr) {
    double arm = (a->centre.area.right - a->centre.area.left) / 2;
    cairo_set_line_width(cr, HAIR_MM);
    line(cr, -arm, 0, arm, 0);
    line(cr, 0, -arm, 0, arm);
    cairo_set_line_width(cr, fmax(0.4, arm / 40));
    cairo_arc(cr, 0, 0, arm / 1.5, 0, 2 * TR_PI);
    cairo_stroke(cr);
}

/* From here on the origin is the mark's, and up points to the edge; the caller restores. */
static void turn_to_edge(cairo_t *cr, tr_vec2 at, int edge) {
    static const double QUARTERS[TR_N_EDGES] = {
        [TR_TOP] = 0, [TR_RIGHT] = 1, [TR_BOTTOM] = 2, [TR_LEFT] = 3};
    cairo_translate(cr, at.x, -at.y);
    cairo_rotate(cr, QUARTERS[edge] * TR_PI / 2);
}

/* About the origin, in the room that there is on either side. */
static void draw_edge_letters(tr_artwork *a, cairo_t *cr, const edge_mark *m, double size_mm,
                              double along_mm) {
    double aside = m->along_mm / 2 + EDGE_MARK_GAP_MM;
    double room = along_mm / 2 - aside;
    double width;
    double height;
    double behind;
    tr_letters how = {.size_mm = size_mm};
    tr_lettering_measure(&a->lettering, how, m->before, &width, &height);
    tr_lettering_measure(&a->lettering, how, m->behind, &behind, &height);
    double widest = fmax(width, behind);
    if (widest > 1.0001 * room) how.size_mm *= room / widest;
    tr_lettering_measure(&a->lettering, how, m->before, &width, &height);
    tr_lettering_draw(&a->lettering, cr, -aside - width, -height / 2, how, m->before);
    tr_lettering_draw(&a->lettering, cr, aside, -height / 2, how, m->behind);
}

static double length_along(tr_area area, int edge) {
    return is_side(edge) ? area.top - area.bottom : area.right - area.left;
}

/* A small cross and circle. */
static void draw_plumb(tr_artwork *a, cairo_t *cr) {
    double arm = PLUMB_MM / 2;
    edge_mark mark = plumb_mark(a);
    if (!a->plumb.is_there) return;
    cairo_save(cr);
    turn_to_edge(cr, a->plumb_mm, a->plumb_edge);
    cairo_set_line_width(cr, HAIR_MM);
    line(cr, -arm, 0, arm, 0);
    line(cr, 0, -arm, 0, arm);
    cairo_set_line_width(cr, 2 * HAIR_MM);
    cairo_arc(cr, 0, 0, arm / 1.5, 0, 2 * TR_PI);
    cairo_stroke(cr);
    draw_edge_letters(a, cr, &mark, a->plumb_size_mm, length_along(a->plumb.area, a->plumb_edge));
    cairo_restore(cr);
}

/* A triangle, which cannot be taken for a tag; filled, so that its tip is where it says. */
static void draw_tip(tr_artwork *a, cairo_t *cr) {
    double half = TIP_LENGTH_MM / 2;
    edge_mark mark = tip_mark(a);
    if (!a->tip.is_there) return;
    cairo_save(cr);
    turn_to_edge(cr, tr_area_centre(a->tip.area), a->tip_edge);
    cairo_move_to(cr, 0, -half);
    cairo_line_to(cr, TIP_WIDTH_MM / 2, half);
    cairo_line_to(cr, -TIP_WIDTH_MM / 2, half);
    cairo_close_path(cr);
    cairo_fill(cr);
    draw_edge_letters(a, cr, &mark, a->tip_size_mm, length_along(a->tip.area, a->tip_edge));
    cairo_restore(cr);
}

/* Whoever stands before a board reads it as it stands: letters are not turned. */
static void draw_foot(tr_artwork *a, cairo_t *cr) {
    tr_vec2 at = tr_area_centre(a->foot.area);
    if (!a->foot.is_there) return;
    cairo_save(cr);
    cairo_translate(cr, at.x, -at.y);
    cairo_set_line_width(cr, 2 * HAIR_MM);
    line(cr, 0, -FOOT_MM / 2, 0, FOOT_MM / 2);
    const edge_mark mark = foot_mark();
    draw_edge_letters(a, cr, &mark, a->foot_size_mm, length_along(a->foot.area, TR_BOTTOM));
    cairo_restore(cr);
}

static void draw_ticks(const tr_artwork *a, cairo_t *cr) {
    cairo_set_line_width(cr, 2 * HAIR_MM);
    for (int k = 0; k < TR_N_EDGES; k++) {
        tr_area t = tick_area(a->sheet, k);
        tr_vec2 m = tr_area_centre(t);
        if (!a->has_tick[k]) continue;
        if (is_side(k))
            line(cr, t.left, -m.y, t.right, -m.y);
        else
            line(cr, m.x, -t.bottom, m.x, -t.top);
    }
}

void tr_rule_draw(tr_lettering *lettering, cairo_t *cr, double x, double y, bool is_up) {
    enum { N_STEPS = 10 };
    static const double TICK_LOW_MM = 1.3, TICK_HIGH_MM = 4, LETTERS_MM = 2.4;
    cairo_save(cr);
    cairo_translate(cr, x, y);
    if (is_up) cairo_rotate(cr, -TR_PI / 2);
    black(cr);
    cairo_set_line_width(cr, HAIR_MM);
    line(cr, 0, 0, TR_RULE_MM, 0);
    for (int k = 0; k <= N_STEPS; k++) {
        double at = k * TR_RULE_MM / N_STEPS;
        line(cr, at, 0, at, k == 0 || k == N_STEPS ? -TICK_HIGH_MM : -TICK_LOW_MM);
    }
    char text[16];
    snprintf(text, sizeof text, "%.0f mm", TR_RULE_MM);
    tr_letters how = {.size_mm = LETTERS_MM, .width_mm = TR_RULE_MM, .is_centred = true};
    tr_lettering_draw(lettering, cr, 0, -TICK_HIGH_MM - 0.3, how, text);
    cairo_restore(cr);
}

static bool is_whole_in(tr_placed what, tr_area shown) {
    static const double TOUCH_MM = 1e-6;
    tr_area w = what.area;
    return what.is_there && w.left >= shown.left - TOUCH_MM && w.right <= shown.right + TOUCH_MM &&
           w.bottom >= shown.bottom - TOUCH_MM && w.top <= shown.top + TOUCH_MM;
}

static void draw_rules(tr_artwork *a, tr_area shown, cairo_t *cr) {
    tr_vec2 across = tr_area_centre(a->rule_across.area);
    tr_vec2 up = tr_area_centre(a->rule_up.area);
    if (is_whole_in(a->rule_across, shown)) {
        tr_rule_draw(&a->lettering, cr, across.x - TR_RULE_MM / 2,
                     -(a->rule_across.area.bottom + HAIR_MM), false);
    }
    if (is_whole_in(a->rule_up, shown)) {
        tr_rule_draw(&a->lettering, cr, a->rule_up.area.right - HAIR_MM, -(up.y - TR_RULE_MM / 2),
                     true);
    }
}

static void draw_id(tr_artwork *a, cairo_t *cr) {
    const tr_sheet *s = a->sheet;
    tr_area box = a->id.area;
    double width = box.right - box.left;
    double used;
    double height;
    tr_letters id = {.size_mm = a->id_size_mm, .is_bold = true};
    if (!a->id.is_there) return;
    tr_lettering_measure(&a->lettering, id, s->id, &used, &height);
    tr_lettering_draw(&a->lettering, cr, box.left + (width - used) / 2, -box.top, id, s->id);
    if (!(a->title_size_mm > 0)) return;
    tr_letters title = {.size_mm = a->title_size_mm};
    tr_lettering_measure(&a->lettering, title, s->title, &used, &(double){0});
    tr_lettering_draw(&a->lettering, cr, box.left + (width - used) / 2, -box.top + height, title,
                      s->title);
}

/* An outline, so that no black square of it can be taken for a tag; the word below it. */
static void draw_arrow(tr_artwork *a, cairo_t *cr) {
    tr_area box = a->arrow.area;
    double h = box.top - box.bottom;
    double letters = 0.15 * h;
    double x = (box.left + box.right) / 2;
    double top = -box.top;
    double foot = top + 0.78 * h;
    double neck = top + 0.38 * h;
    double shaft = 0.09 * h, head = 0.22 * h;
    if (!a->arrow.is_there) return;
    cairo_set_line_width(cr, fmax(0.5, 0.02 * h));
    cairo_move_to(cr, x, top + 0.03 * h);
    cairo_line_to(cr, x + head, neck);
    cairo_line_to(cr, x + shaft, neck);
    cairo_line_to(cr, x + shaft, foot);
    cairo_line_to(cr, x - shaft, foot);
    cairo_line_to(cr, x - shaft, neck);
    cairo_line_to(cr, x - head, neck);
    cairo_close_path(cr);
    cairo_stroke(cr);
    tr_letters how = {
        .size_mm = letters, .width_mm = box.right - box.left, .is_bold = true, .is_centred = true};
    const char *word = TR_("UP");
    double width;
    double height;
    tr_letters line_of_it = {.size_mm = letters, .is_bold = true};
    tr_lettering_measure(&a->lettering, line_of_it, word, &width, &height);
    if (width > how.width_mm) how.size_mm *= 0.98 * how.width_mm / width;
    tr_lettering_draw(&a->lettering, cr, box.left, foot + 0.02 * h, how, word);
}

static void draw_note(tr_artwork *a, cairo_t *cr) {
    tr_area box = a->note.area;
    tr_letters how = {.size_mm = a->note_size_mm,
                      .width_mm = box.right - box.left - 2 * NOTE_GAP_MM};
    double used;
    double height;
    if (!a->note.is_there) return;
    do {
        tr_lettering_measure(&a->lettering, how, a->note_text, &used, &height);
        if (height > 1.0001 * (box.top - box.bottom)) how.size_mm *= 0.97;
    } while (height > 1.0001 * (box.top - box.bottom) && how.size_mm > 0.5 * a->note_size_mm);
    tr_lettering_draw(&a->lettering, cr, box.left + NOTE_GAP_MM, -box.top, how, a->note_text);
}

bool tr_artwork_draw(tr_artwork *a, tr_area shown, cairo_t *cr, tr_error *err) {
    cairo_save(cr);
    cairo_new_path(cr);
    black(cr);
    bool ok = draw_tags(a, cr, err);
    draw_corners(a, cr);
    draw_discs(a, cr);
    if (a->centre.is_there) draw_centre(a, cr);
    draw_plumb(a, cr);
    draw_tip(a, cr);
    draw_foot(a, cr);
    draw_ticks(a, cr);
    draw_rules(a, shown, cr);
    draw_id(a, cr);
    draw_arrow(a, cr);
    draw_note(a, cr);
    cairo_restore(cr);
    return ok;
}
