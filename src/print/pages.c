#include "print/pages.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/language.h"

/* In the order of tr_paper_names. Sources: ISO 216:2007, table 1; ANSI/ASME Y14.1-2012, table 1
   (size A, 8.5 x 11 in). */
static const tr_paper PAPERS[] = {{"A4", 210, 297}, {"A3", 297, 420}, {"Letter", 215.9, 279.4}};
enum { N_PAPERS = sizeof PAPERS / sizeof *PAPERS };

/* 14,400 units of 1/72 in: the largest page of a PDF (ISO 32000-1:2008, annex C.2). */
static const double MAX_PAGE_MM = 5080;
/* A stack that nobody glues together. */
enum { MAX_PAGES = 500 };

/* Sheets are told from papers to this; a face may be written down as rounded. mm */
static const double SAME_SIZE_MM = 0.1;
/* The edge of a mark may lie on a cut. */
static const double TOUCH_MM = 1e-6;

const tr_paper *tr_paper_by_name(const char *name) {
    for (int i = 0; i < N_PAPERS; i++) {
        if (strcasecmp(PAPERS[i].name, name) == 0) return &PAPERS[i];
    }
    return NULL;
}

const tr_paper *tr_paper_of_size(double width_mm, double height_mm) {
    double shorter = fmin(width_mm, height_mm);
    double longer = fmax(width_mm, height_mm);
    for (int i = 0; i < N_PAPERS; i++) {
        if (fabs(PAPERS[i].width_mm - shorter) <= SAME_SIZE_MM &&
            fabs(PAPERS[i].height_mm - longer) <= SAME_SIZE_MM) {
            return &PAPERS[i];
        }
    }
    return NULL;
}

const char *tr_paper_names(void) {
    return "A4, A3, Letter";
}

/* ---- one page ---- */

static tr_area face_of(const tr_artwork *a) {
    return tr_area_about(tr_v2(0, 0), a->sheet->width_mm, a->sheet->height_mm);
}

static bool add_only_page(const tr_artwork *a, tr_pages *out, tr_error *err) {
    out->pages = calloc(1, sizeof *out->pages);
    if (!out->pages) return tr_fail_memory(err);
    out->columns = out->rows = out->n = 1;
    out->pages[0].cut = out->pages[0].part = face_of(a);
    out->pages[0].origin_mm = tr_v2(out->width_mm / 2, out->height_mm / 2);
    return true;
}

static bool is_one_page(const tr_sheet *s) {
    return s->width_mm <= MAX_PAGE_MM && s->height_mm <= MAX_PAGE_MM;
}

static bool plan_own_size(const tr_artwork *a, tr_pages *out, tr_error *err) {
    const tr_sheet *s = a->sheet;
    out->width_mm = s->width_mm;
    out->height_mm = s->height_mm;
    return add_only_page(a, out, err);
}

/* Whether the whole face fits, and what is printed on it stays within what printers print. */
static bool fits(const tr_artwork *a, double width_mm, double height_mm) {
    static const double PRINTER_MM = 6;
    tr_area page = tr_area_about(tr_v2(0, 0), width_mm, height_mm);
    tr_area face = face_of(a);
    if (face.right > page.right + SAME_SIZE_MM || face.top > page.top + SAME_SIZE_MM) return false;
    /* Of a tag's area the outer cell is white, which needs no printer. */
    for (int i = 0; i < a->n_marks; i++) {
        double rim = i < a->sheet->n_tags ? a->sheet->tags[i].size_mm / 16 : 0;
        tr_area m = a->marks[i];
        if (m.left + rim < page.left + PRINTER_MM || m.right - rim > page.right - PRINTER_MM ||
            m.bottom + rim < page.bottom + PRINTER_MM || m.top - rim > page.top - PRINTER_MM) {
            return false;
        }
    }
    return true;
}

/* ---- where to cut ---- */

/* Along one axis of the face, from..to. */
typedef struct {
    double from_mm, to_mm;
    double room_mm; /* a tile's length on the page, with its overlap */
    double overlap_mm;
    const int
        *crossed; /* what a cut at place k would go through: 3 a tag, 1 a rule or other mark */
    int n;        /* places are 0..n, n steps from from_mm to to_mm */
} axis;

static double place(const axis *x, int k) {
    return x->from_mm + (x->to_mm - x->from_mm) * k / x->n;
}

/* The tile from cut i to cut k, with its overlap, fits on the page. */
static bool fits_tile(const axis *x, int i, int k) {
    double length = place(x, k) - place(x, i);
    if (i > 0) length += x->overlap_mm / 2;
    if (k < x->n) length += x->overlap_mm / 2;
    return length <= x->room_mm + TOUCH_MM;
}

/* What a tile costs, in tiles: one row of pages more is worth it where that leaves five marks
   whole; tiles of like length are nicer, but worth nothing else. */
static double tile_cost(const axis *x, int i, int k) {
    double part = (place(x, k) - place(x, i)) / x->room_mm;
    return 1 + 0.01 * part * part + (k < x->n ? 0.1 * x->crossed[k] : 0);
}

/* The cheapest cuts, by dynamic programming over all places. cuts: n_tiles + 1 places, owned by the
   caller. False: memory ran out. */
static bool find_cuts(const axis *x, double **cuts, int *n_tiles, tr_error *err) {
    double *cost = malloc((size_t)(x->n + 1) * sizeof *cost);
    int *before = malloc((size_t)(x->n + 1) * sizeof *before);
    bool ok = cost && before;
    *n_tiles = 0;
    for (int k = 0; k <= x->n && ok; k++) {
        cost[k] = k == 0 ? 0 : INFINITY;
        before[k] = 0;
        for (int i = k - 1; i >= 0 && place(x, k) - place(x, i) <= x->room_mm + TOUCH_MM; i--) {
            if (!fits_tile(x, i, k)) continue; /* at the ends of the face a longer one may fit */
            double c = cost[i] + tile_cost(x, i, k);
            if (c >= cost[k]) continue;
            cost[k] = c;
            before[k] = i;
        }
    }
    for (int k = x->n; k > 0 && ok; k = before[k]) ++*n_tiles;
    *cuts = ok ? malloc((size_t)(*n_tiles + 1) * sizeof **cuts) : NULL;
    if (*cuts) {
        int at = x->n;
        for (int t = *n_tiles; t >= 0; t--) {
            (*cuts)[t] = place(x, at);
            at = before[at];
        }
    }
    free(cost);
    free(before);
    return *cuts || tr_fail_memory(err);
}

static void add_crossed(const axis *x, bool is_x, tr_area area, int weight, int *crossed) {
    double low = is_x ? area.left : area.bottom;
    double high = is_x ? area.right : area.top;
    int first = (int)fmax(0, floor((low - x->from_mm) / (x->to_mm - x->from_mm) * x->n));
    for (int k = first; k <= x->n && place(x, k) < high - TOUCH_MM; k++)
        if (place(x, k) > low + TOUCH_MM) crossed[k] += weight;
}

static bool cut_axis(const tr_artwork *a, bool is_x, double room_mm, double overlap_mm,
                     double **cuts, int *n_tiles, tr_error *err) {
    double length = is_x ? a->sheet->width_mm : a->sheet->height_mm;
    axis x = {-length / 2, length / 2, room_mm, overlap_mm, NULL, (int)ceil(length)};
    int *crossed = calloc((size_t)x.n + 1, sizeof *crossed);
    if (!crossed) return tr_fail_memory(err);
    x.crossed = crossed;
    for (int i = 0; i < a->n_marks; i++)
        add_crossed(&x, is_x, a->marks[i], i < a->sheet->n_tags ? 3 : 1, crossed);
    if (a->rule_across.is_there) add_crossed(&x, is_x, a->rule_across.area, 1, crossed);
    if (a->rule_up.is_there) add_crossed(&x, is_x, a->rule_up.area, 1, crossed);
    bool ok = find_cuts(&x, cuts, n_tiles, err);
    free(crossed);
    return ok;
}

/* ---- tiles ---- */

/* Where the tile stands on its page. */
static tr_area tile_room(double width_mm, double height_mm) {
    return (tr_area){TR_PAGE_MARGIN_MM + TR_STRIP_LEFT_MM, TR_PAGE_MARGIN_MM + TR_STRIP_BOTTOM_MM,
                     width_mm - TR_PAGE_MARGIN_MM, height_mm - TR_PAGE_MARGIN_MM};
}

static tr_page make_page(const tr_pages *p, const double *x, const double *y, int column, int row) {
    double half = p->overlap_mm / 2;
    int up = p->rows - row; /* y runs upwards, rows downwards */
    tr_area room = tile_room(p->width_mm, p->height_mm);
    tr_page page = {.column = column, .row = row};
    page.cut = (tr_area){x[column], y[up - 1], x[column + 1], y[up]};
    page.part = page.cut;
    if (column > 0) page.part.left -= half;
    if (column + 1 < p->columns) page.part.right += half;
    if (row > 0) page.part.top += half;
    if (row + 1 < p->rows) page.part.bottom -= half;
    tr_vec2 centre = tr_area_centre(page.part);
    page.origin_mm = tr_v2((room.left + room.right) / 2 - centre.x,
                           p->height_mm - (room.bottom + room.top) / 2 + centre.y);
    return page;
}

static bool plan_tiles(const tr_artwork *a, double overlap_mm, tr_pages *out, tr_error *err) {
    tr_area room = tile_room(out->width_mm, out->height_mm);
    double *x = NULL;
    double *y = NULL;
    bool ok = cut_axis(a, true, room.right - room.left, overlap_mm, &x, &out->columns, err) &&
              cut_axis(a, false, room.top - room.bottom, overlap_mm, &y, &out->rows, err);
    if (ok) {
        double n = (double)out->columns * out->rows;
        out->n = n > MAX_PAGES ? MAX_PAGES + 1 : (int)n;
        out->pages = calloc((size_t)out->n, sizeof *out->pages);
        ok = out->pages || tr_fail_memory(err);
    }
    out->has_frame = true;
    out->overlap_mm = overlap_mm;
    bool is_few = ok && out->n <= MAX_PAGES;
    for (int row = 0; is_few && row < out->rows; row++) {
        for (int column = 0; column < out->columns; column++) {
            out->pages[row * out->columns + column] = make_page(out, x, y, column, row);
        }
    }
    free(x);
    free(y);
    return ok;
}

static bool plan_paper(const tr_artwork *a, const tr_paper *paper, bool is_on_side,
                       double overlap_mm, tr_pages *out, tr_error *err) {
    *out = (tr_pages){.paper = paper};
    out->width_mm = is_on_side ? paper->height_mm : paper->width_mm;
    out->height_mm = is_on_side ? paper->width_mm : paper->height_mm;
    tr_area room = tile_room(out->width_mm, out->height_mm);
    bool has_room_for_frame = a->sheet->width_mm <= room.right - room.left &&
                              a->sheet->height_mm <= room.top - room.bottom;
    if (!has_room_for_frame && fits(a, out->width_mm, out->height_mm)) {
        return add_only_page(a, out, err);
    }
    return plan_tiles(a, overlap_mm, out, err);
}

/* Tiles on that paper, on whichever side takes fewer. */
static bool plan_best_tiles(const tr_artwork *a, const tr_paper *paper, double overlap_mm,
                            tr_pages *out, tr_error *err) {
    tr_pages upright = {0};
    tr_pages on_side = {0};
    bool ok = plan_paper(a, paper, false, overlap_mm, &upright, err) &&
              plan_paper(a, paper, true, overlap_mm, &on_side, err);
    bool is_on_side = on_side.n < upright.n;
    *out = is_on_side ? on_side : upright;
    tr_pages_release(is_on_side ? &upright : &on_side);
    if (!ok) tr_pages_release(out);
    return ok;
}

/* What else is too large on a page of its own, or for one paper, may be printed on. */
static bool refuse_size(const tr_artwork *a, const tr_paper *paper, double overlap_mm,
                        tr_error *err) {
    const tr_sheet *s = a->sheet;
    const tr_paper *largest = tr_paper_by_name("A3");
    tr_pages tiles = {0};
    const char *what_to_do = TR_N("make it in several sheets");
    if (is_one_page(s)) {
        what_to_do = TR_N("print it on one page of its own size (--page own)");
    } else if (paper != largest) {
        if (!plan_best_tiles(a, largest, overlap_mm, &tiles, err)) return false;
        if (tiles.n <= MAX_PAGES)
            what_to_do = TR_N("print it in tiles (--page A3), or make it in several sheets");
        tr_pages_release(&tiles);
    }
    if (!paper) {
        return tr_fail_at(err, TR_BAD_INPUT, s->path, 0, NULL,
                          "is %.0f x %.0f mm, but a page can have at most %.0f mm; %s", s->width_mm,
                          s->height_mm, MAX_PAGE_MM, what_to_do);
    }
    return tr_fail_at(err, TR_BAD_INPUT, s->path, 0, NULL,
                      "is %.0f x %.0f mm, which is more than %d pages of %s; %s", s->width_mm,
                      s->height_mm, MAX_PAGES, paper->name, what_to_do);
}

bool tr_pages_plan(const tr_artwork *a, const tr_paper *paper, double overlap_mm, tr_pages *out,
                   tr_error *err) {
    *out = (tr_pages){0};
    if (!paper) {
        return is_one_page(a->sheet) ? plan_own_size(a, out, err)
                                     : refuse_size(a, paper, overlap_mm, err);
    }
    if (!plan_best_tiles(a, paper, overlap_mm, out, err)) return false;
    if (out->n <= MAX_PAGES) return true;
    tr_pages_release(out);
    return refuse_size(a, paper, overlap_mm, err);
}

void tr_pages_release(tr_pages *pages) {
    free(pages->pages);
    *pages = (tr_pages){0};
}
