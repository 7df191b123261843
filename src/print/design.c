#include "print/design.h"

#include <stdlib.h>
#include <string.h>

#include "base/number.h"
#include "print/artwork.h"
#include "print/pages.h"
#include "print/sheet_ids.h"

/* Tags smaller than this cannot be read from where photos are taken: some metres away, or, of a
   checkerboard, half a metre. mm */
static const double MIN_TAG_MM = 30;
static const double MIN_BOARD_TAG_MM = 5;

/* Cells are a whole number of these: 0.5 mm, of a board's small tag 0.1 mm. */
static const double CELL_STEP_MM = 0.5, SMALL_CELL_STEP_MM = 0.1;

/* Paper that is not cut: printers leave out up to some 6 mm at the edge. */
static const double PAPER_EDGE_MM = 8;
static const double FACE_EDGE_MM = 3;

static const char *const NAMES[TR_N_DESIGNS] = {"plate", "pointer", "hub",
                                                "mat",   "board",   "checkerboard"};

const char *tr_design_name(tr_design_kind kind) {
    return NAMES[kind];
}

/* What a design is worked out with. */
typedef struct {
    const tr_design *design;
    tr_sheet *sheet;
    double part;    /* a tag with its white rim, of its size */
    double cells;   /* of a tag's size */
    double edge_mm; /* no black within this of the face's edge */
    int max_tags, max_corners;
    tr_error *err;
} work;

static bool allocate(work *w, int tags, int corners) {
    w->max_tags = tags;
    w->max_corners = corners;
    w->sheet->tags = calloc((size_t)tags + 1, sizeof *w->sheet->tags);
    w->sheet->corners_mm = calloc((size_t)corners + 1, sizeof *w->sheet->corners_mm);
    return (w->sheet->tags && w->sheet->corners_mm) || tr_fail_memory(w->err);
}

static void add_tag(work *w, double x, double y, double size_mm) {
    tr_sheet *s = w->sheet;
    if (s->n_tags == w->max_tags) return;
    s->tags[s->n_tags++] = (tr_tag){.centre_mm = {x, y}, .size_mm = size_mm};
}

static void add_corner(work *w, double x, double y) {
    tr_sheet *s = w->sheet;
    if (s->n_corners == w->max_corners) return;
    s->corners_mm[s->n_corners++] = tr_v2(x, y);
}

/* The largest size up to this one whose cells are a whole number of steps. */
static double round_tag(const work *w, double size_mm) {
    double step = size_mm < MIN_TAG_MM ? SMALL_CELL_STEP_MM : CELL_STEP_MM;
    return floor(size_mm / w->cells / step + 1e-9) * step * w->cells;
}

/* The tags' size: as large as fits, or as it was asked for. */
static bool choose_tag(const work *w, double largest_mm, double usual_mm, double smallest_mm,
                       double *size_mm) {
    const tr_design *d = w->design;
    double largest = round_tag(w, largest_mm);
    *size_mm = d->tag_mm > 0 ? d->tag_mm : fmin(largest, round_tag(w, usual_mm));
    if (largest < smallest_mm) {
        return tr_fail(w->err, TR_BAD_INPUT,
                       "on a face of %g x %g mm the tags of a %s would have %g mm, but they need "
                       "at least %g mm; give a larger --size",
                       w->sheet->width_mm, w->sheet->height_mm, NAMES[d->kind], fmax(0, largest),
                       smallest_mm);
    }
    if (*size_mm < smallest_mm || *size_mm > largest_mm + 1e-9) {
        return tr_fail(w->err, TR_BAD_INPUT,
                       "tags of %g mm do not go with a %s of %g x %g mm; give --tag from %g to %g",
                       *size_mm, NAMES[d->kind], w->sheet->width_mm, w->sheet->height_mm,
                       smallest_mm, largest);
    }
    return true;
}

static double clamp(double x, double low, double high) {
    return fmin(fmax(x, low), high);
}

/* ---- plate ---- */

/* Two tags along the longer side, with the centre mark between them; corners in what remains at
   their sides. */
static bool lay_out_plate(work *w) {
    static const double OPEN_PART = 0.12, CORNER_AT = 0.78, CORNER_ROOM_MM = 18;
    tr_sheet *s = w->sheet;
    bool is_upright = s->height_mm >= s->width_mm;
    double half_long = fmax(s->width_mm, s->height_mm) / 2;
    double half_short = fmin(s->width_mm, s->height_mm) / 2;
    double open = clamp(OPEN_PART * half_long, 10, 40);
    double size;
    double largest = fmin((half_long - open) / w->part, 2 * half_short / w->part);
    if (!allocate(w, 2, 4)) return false;
    if (!choose_tag(w, largest, largest, MIN_TAG_MM, &size)) return false;
    double at = floor((open + half_long) / 2);
    double rim = w->part * size / 2;
    double strip = half_short - w->edge_mm - rim;
    double aside = round(rim + strip / 2);
    double along = round(CORNER_AT * half_long);
    for (int sign = 1; sign >= -1; sign -= 2) {
        if (is_upright)
            add_tag(w, 0, sign * at, size);
        else
            add_tag(w, -sign * at, 0, size);
    }
    for (int k = 0; k < 4 && strip >= CORNER_ROOM_MM; k++) {
        static const int SIGN[4][2] = {{-1, 1}, {1, 1}, {-1, -1}, {1, -1}};
        add_corner(w, SIGN[k][0] * (is_upright ? aside : along),
                   SIGN[k][1] * (is_upright ? along : aside));
    }
    return true;
}

/* ---- pointer ---- */

/* The tip near the middle of the upper edge; below its strip two tags, beside or below each other,
   whichever lets them be larger, at the left, so that what room is left is in one piece. */
static bool lay_out_pointer(work *w) {
    static const double STRIP_MM = 30;
    tr_sheet *s = w->sheet;
    double below = fmax(0, s->height_mm - STRIP_MM);
    double stacked = fmin(s->width_mm, below / 2) / w->part;
    double abreast = fmin(s->width_mm / 2, below) / w->part;
    bool is_stacked = stacked >= abreast;
    double largest = fmax(stacked, abreast);
    double size;
    if (!allocate(w, 2, 0)) return false;
    if (!choose_tag(w, largest, largest, MIN_TAG_MM, &size)) return false;
    double rim = w->part * size / 2;
    double left = -s->width_mm / 2 + rim;
    double bottom = -s->height_mm / 2 + rim;
    add_tag(w, left, s->height_mm / 2 - STRIP_MM - rim, size);
    add_tag(w, is_stacked ? left : -left, is_stacked ? bottom : s->tags[0].centre_mm.y, size);
    s->has_tip = true;
    double shorter = fmin(s->width_mm, s->height_mm);
    double inside = fmax(w->edge_mm, fmin(0.01 * shorter, 10)); /* as artwork.c leaves it */
    s->tip_mm = tr_v2(0, floor(s->height_mm / 2 - inside));
    return true;
}

/* ---- hub ---- */

/* One tag in each quarter: as far apart as they can be, for they tell the wheel's direction. */
static bool lay_out_hub(work *w) {
    static const double OPEN_PART = 0.18;
    tr_sheet *s = w->sheet;
    double shorter = fmin(s->width_mm, s->height_mm) / 2;
    double open = clamp(OPEN_PART * shorter, 9, 60);
    double size;
    double largest = (shorter - open) / w->part;
    if (!allocate(w, 4, 0)) return false;
    if (!choose_tag(w, largest, largest, MIN_TAG_MM, &size)) return false;
    double x = s->width_mm / 2 - w->part * size / 2;
    double y = s->height_mm / 2 - w->part * size / 2;
    for (int k = 0; k < 4; k++) add_tag(w, k % 2 == 0 ? -x : x, k < 2 ? y : -y, size);
    return true;
}

/* ---- mat and upright board ---- */

/* How far apart tags stand along an edge, of their size: dense enough that a photo of any part of
   the mat shows some, far enough for corners between them. */
static const double MAT_STEP = 3;
/* White between the edge and a tag's rim, of its size. */
static const double MAT_EDGE = 0.125;
static const double MAT_OPEN = 0.3; /* of the mat's height and width, at least */
/* More white below the lower edge's tags, for what a board says of its stand's foot. */
static const double FOOT_ROOM_MM = 10;

/* Steps between tags along an edge of length_mm from the first tag's centre to the last's. */
static int count_steps(double length_mm, double tag_mm) {
    return (int)fmax(1, round(length_mm / (MAT_STEP * tag_mm)));
}

/* Corners between two tags that stand step_mm apart: as many as have room. */
static int count_corners(const work *w, double step_mm, double tag_mm) {
    static const double ROOM_MM = 50;
    double gap = step_mm - w->part * tag_mm;
    return gap >= 2 * ROOM_MM ? 2 : gap >= ROOM_MM ? 1 : 0;
}

/* The i-th of n corners between tags at a and b. */
static double corner_place(const work *w, double a, double b, double tag_mm, int i, int n) {
    double rim = copysign(w->part * tag_mm / 2, b - a);
    return round(a + rim + (b - a - 2 * rim) * (2 * i + 1) / (2 * n));
}

/* Along one edge from corner to corner: its tags but for the last, and the corners between them. */
static void lay_out_edge(work *w, tr_vec2 from, tr_vec2 to, int steps, double tag_mm) {
    tr_vec2 d = tr_v2_scale(1.0 / steps, tr_v2_sub(to, from));
    int n = count_corners(w, fabs(d.x) + fabs(d.y), tag_mm);
    for (int k = 0; k < steps; k++) {
        tr_vec2 a = tr_v2(round(from.x + k * d.x), round(from.y + k * d.y));
        tr_vec2 b = tr_v2(round(from.x + (k + 1) * d.x), round(from.y + (k + 1) * d.y));
        add_tag(w, a.x, a.y, tag_mm);
        for (int i = 0; i < n; i++) {
            add_corner(w, d.x == 0 ? a.x : corner_place(w, a.x, b.x, tag_mm, i, n),
                       d.y == 0 ? a.y : corner_place(w, a.y, b.y, tag_mm, i, n));
        }
    }
}

static bool lay_out_mat(work *w) {
    static const double USUAL_MM = 160, USUAL_PART = 1 / 6.0;
    tr_sheet *s = w->sheet;
    double shorter = fmin(s->width_mm, s->height_mm);
    double largest = (1 - MAT_OPEN) * shorter / 2 / (w->part + MAT_EDGE);
    double size;
    if (!choose_tag(w, largest, fmin(USUAL_MM, USUAL_PART * shorter), MIN_TAG_MM, &size)) {
        return false;
    }
    double inset = (w->part / 2 + MAT_EDGE) * size;
    double foot = w->design->kind == TR_DESIGN_BOARD ? FOOT_ROOM_MM : 0;
    double x = round(s->width_mm / 2 - inset);
    double top = round(s->height_mm / 2 - inset);
    double bottom = round(-s->height_mm / 2 + inset + foot);
    int across = count_steps(2 * x, size);
    int up = count_steps(top - bottom, size);
    if (!allocate(w, 2 * (across + up), 4 * (across + up))) return false;
    lay_out_edge(w, tr_v2(-x, top), tr_v2(x, top), across, size);
    lay_out_edge(w, tr_v2(x, top), tr_v2(x, bottom), up, size);
    lay_out_edge(w, tr_v2(x, bottom), tr_v2(-x, bottom), across, size);
    lay_out_edge(w, tr_v2(-x, bottom), tr_v2(-x, top), up, size);
    return true;
}

/* ---- checkerboard ---- */

/* White between squares and tag, of a square; and at least this much margin, for the rule. */
static const double BOARD_GAP = 0.25;
static const double BOARD_MARGIN_MM = 17;

/* No black within this of the face's edge. */
static double face_edge(const tr_sheet *s) {
    return tr_paper_of_size(s->width_mm, s->height_mm) ? PAPER_EDGE_MM : FACE_EDGE_MM;
}

/* A board's margins on a face of the sheet's size. */
static double margin_aside(const tr_design *d, const tr_sheet *s) {
    return (s->width_mm - d->squares_x * d->pitch_mm) / 2;
}
static double margin_below(const tr_design *d, const tr_sheet *s) {
    return (s->height_mm - d->squares_y * d->pitch_mm) / 2;
}

/* The margin that holds a tag of this size, on a face with this edge. Of the tag's rim the outer
   side may lie in the edge, which nothing is printed on. */
static double margin_of_tag(const work *w, double edge_mm, double tag_mm) {
    return edge_mm + BOARD_GAP * w->design->pitch_mm + (1 + w->part) / 2 * tag_mm;
}

/* On paper, the wider margin may be the one that holds the tag. */
static bool take_paper(work *w, const char *name, double tag_mm) {
    const tr_design *d = w->design;
    tr_sheet *s = w->sheet;
    const tr_paper *p = tr_paper_by_name(name);
    bool is_wide = d->squares_x > d->squares_y;
    s->width_mm = is_wide ? p->height_mm : p->width_mm;
    s->height_mm = is_wide ? p->width_mm : p->height_mm;
    double aside = margin_aside(d, s);
    double below = margin_below(d, s);
    return fmin(aside, below) >= BOARD_MARGIN_MM &&
           fmax(aside, below) >= margin_of_tag(w, PAPER_EDGE_MM, tag_mm);
}

/* The smallest paper on which there is room for the tag, too, or else a face of its own. */
static void size_board(work *w) {
    static const double FULL_MM = 1;
    const tr_design *d = w->design;
    tr_sheet *s = w->sheet;
    double step = SMALL_CELL_STEP_MM * w->cells;
    double tag = d->tag_mm > 0 ? d->tag_mm : ceil(MIN_BOARD_TAG_MM / step) * step;
    if (take_paper(w, "A4", tag) || take_paper(w, "A3", tag)) return;
    double margin = fmax(BOARD_MARGIN_MM, margin_of_tag(w, FACE_EDGE_MM, tag));
    s->width_mm = ceil(d->squares_x * d->pitch_mm + 2 * margin);
    s->height_mm = ceil(d->squares_y * d->pitch_mm + 2 * margin);
    if (face_edge(s) > FACE_EDGE_MM) s->width_mm += FULL_MM; /* no paper's size, by chance */
}

/* The tag stands in the wider margin, right or below, at its lower right end. */
static bool lay_out_checkerboard(work *w) {
    const tr_design *d = w->design;
    tr_sheet *s = w->sheet;
    double aside = margin_aside(d, s);
    double below = margin_below(d, s);
    int columns = d->squares_x - 1;
    int rows = d->squares_y - 1;
    double size;
    double largest = (fmax(aside, below) - margin_of_tag(w, w->edge_mm, 0)) / ((1 + w->part) / 2);
    if (fmin(aside, below) < w->edge_mm) {
        return tr_fail(w->err, TR_BAD_INPUT,
                       "%d x %d squares of %g mm leave no margin on a face of %g x %g mm; give a "
                       "smaller --pitch, fewer --squares or a larger --size",
                       d->squares_x, d->squares_y, d->pitch_mm, s->width_mm, s->height_mm);
    }
    if (!allocate(w, 1, columns * rows)) return false;
    if (!choose_tag(w, largest, 40, MIN_BOARD_TAG_MM, &size)) return false;
    double from_edge = w->edge_mm + size / 2;
    add_tag(w, s->width_mm / 2 - from_edge, -s->height_mm / 2 + from_edge, size);
    for (int row = 0; row < rows; row++) {
        for (int column = 0; column < columns; column++) {
            add_corner(w, (column - (columns - 1) / 2.0) * d->pitch_mm,
                       ((rows - 1) / 2.0 - row) * d->pitch_mm);
        }
    }
    return true;
}

/* ---- any ---- */

static void size_face(work *w) {
    const tr_design *d = w->design;
    tr_sheet *s = w->sheet;
    static const double USUAL[TR_N_DESIGNS][2] = {{210, 297},   {180, 260}, {180, 180},
                                                  {1600, 1000}, {600, 800}, {0, 0}};
    s->width_mm = d->width_mm > 0 ? d->width_mm : USUAL[d->kind][0];
    s->height_mm = d->width_mm > 0 ? d->height_mm : USUAL[d->kind][1];
    if (d->kind == TR_DESIGN_CHECKERBOARD && !(d->width_mm > 0)) size_board(w);
    w->edge_mm = face_edge(s);
}

static void name_sheet(const tr_design *d, tr_sheet *s) {
    static const tr_sheet_kind KIND[TR_N_DESIGNS] = {
        TR_SHEET_PLATE, TR_SHEET_PLATE, TR_SHEET_HUB, TR_SHEET_MAT, TR_SHEET_BOARD, TR_SHEET_BOARD};
    static const char *const TITLE[TR_N_DESIGNS] = {"Floor plate", "Pointer",       "Hub sheet",
                                                    "Floor mat",   "Upright board", "Checkerboard"};
    char width[TR_NUMBER_SIZE], height[TR_NUMBER_SIZE], pitch[TR_NUMBER_SIZE];
    s->kind = KIND[d->kind];
    s->support = tr_sheet_usual_support(s->kind);
    snprintf(s->id, sizeof s->id, "%s", d->id);
    snprintf(s->tag_family, sizeof s->tag_family, "%s", d->family);
    tr_number_print_short(s->width_mm, width);
    tr_number_print_short(s->height_mm, height);
    tr_number_print_short(d->pitch_mm, pitch);
    if (d->title) {
        snprintf(s->title, sizeof s->title, "%s", d->title);
    } else if (d->kind == TR_DESIGN_CHECKERBOARD) {
        snprintf(s->title, sizeof s->title, "Checkerboard, %d x %d squares of %s mm", d->squares_x,
                 d->squares_y, pitch);
    } else {
        snprintf(s->title, sizeof s->title, "%s, %s x %s", TITLE[d->kind], width, height);
    }
}

static bool choose_ids(const tr_design *d, const tr_sheet_folder *sheets, tr_sheet *s,
                       tr_error *err) {
    int *ids = calloc((size_t)s->n_tags + 1, sizeof *ids);
    if (!ids) return tr_fail_memory(err);
    bool ok = tr_sheet_ids_choose(sheets, d->family, d->id_low, d->id_high, s->n_tags, ids, err);
    for (int i = 0; i < s->n_tags && ok; i++) s->tags[i].id = ids[i];
    free(ids);
    return ok;
}

/* Whether it can be printed is the artwork's to say. */
static bool try_artwork(const tr_sheet *s, tr_error *err) {
    tr_artwork artwork;
    bool ok = tr_artwork_make(s, &artwork, err);
    if (ok) tr_artwork_release(&artwork);
    return ok;
}

bool tr_design_make(const tr_design *d, const tr_sheet_folder *sheets, tr_sheet *out,
                    tr_error *err) {
    static bool (*const LAY_OUT[TR_N_DESIGNS])(work *) = {lay_out_plate, lay_out_pointer,
                                                          lay_out_hub,   lay_out_mat,
                                                          lay_out_mat,   lay_out_checkerboard};
    *out = (tr_sheet){0};
    const tr_sheet *same = tr_sheet_folder_sheet(sheets, d->id);
    if (same) {
        return tr_fail(err, TR_BAD_INPUT, "the name %s is used already, in %s; give another --name",
                       d->id, same->path);
    }
    double cells;
    double part = tr_artwork_tag_part(d->family, &cells, err);
    if (!(part > 0)) return false;
    work w = {.design = d, .sheet = out, .part = part, .cells = cells, .err = err};
    size_face(&w);
    name_sheet(d, out);
    bool ok = LAY_OUT[d->kind](&w) && choose_ids(d, sheets, out, err) && try_artwork(out, err);
    if (!ok) tr_sheet_release(out);
    return ok;
}
