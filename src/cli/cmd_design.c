/* trammel design: a sheet file from a few numbers. */
#include "cli/commands.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/file.h"
#include "base/language.h"
#include "base/number.h"
#include "base/text.h"
#include "base/wrap.h"
#include "cli/options.h"
#include "help/pages.h"
#include "print/artwork.h"
#include "print/design.h"
#include "print/sheet_ids.h"
#include "tags/names.h"
#include "shop/shop.h"

static const double MAX_FACE_MM = 100000;
static const double MAX_PITCH_MM = 1000;

typedef struct {
    tr_design design;
    const char *out, *sheets;
    bool is_help;
} request;

/* The words as they were given. */
typedef struct {
    const char *kind, *name, *out, *size, *tag, *squares, *pitch, *title, *ids, *family, *sheets;
} words;

static bool set_kind(request *r, const char *kind, tr_error *err) {
    if (!kind) {
        return tr_fail(
            err, TR_BAD_INPUT,
            "no design is named; give plate, pointer, hub, mat, board or checkerboard as the first "
            "word");
    }
    for (int k = 0; k < TR_N_DESIGNS; k++) {
        r->design.kind = (tr_design_kind)k;
        if (strcmp(kind, tr_design_name(r->design.kind)) == 0) return true;
    }
    return tr_fail(err, TR_BAD_INPUT,
                   "there is no design '%.40s'; give plate, pointer, hub, mat, board or "
                   "checkerboard",
                   kind);
}

static bool is_text(const char *text, size_t size) {
    return *text && strlen(text) < size && tr_text_is_line(text, strlen(text));
}

static bool set_names(request *r, const words *w, tr_error *err) {
    static const char COUNTED[] =
        TR_N("; those with accents or of other scripts count for two or more");
    const tr_sheet *s = NULL;
    if (!w->name) return tr_fail(err, TR_BAD_INPUT, "'--name' is missing: the sheet's id");
    if (!is_text(w->name, sizeof s->id)) {
        return tr_fail(err, TR_BAD_INPUT, "'--name' is not one line of at most %zu letters%s",
                       sizeof s->id - 1, COUNTED);
    }
    if (w->title && !is_text(w->title, sizeof s->title)) {
        return tr_fail(err, TR_BAD_INPUT, "'--title' is not one line of at most %zu letters%s",
                       sizeof s->title - 1, COUNTED);
    }
    if (!w->out) return tr_fail(err, TR_BAD_INPUT, "'--out' is missing: the sheet file to write");
    if (!tr_options_ends_in(w->out, ".yaml") && !tr_options_ends_in(w->out, ".yml")) {
        return tr_fail(err, TR_BAD_INPUT, "'--out %.200s': give it a name that ends in .yaml",
                       w->out);
    }
    r->design.id = w->name;
    r->design.title = w->title;
    r->out = w->out;
    r->sheets = w->sheets;
    return true;
}

static bool set_sizes(request *r, const words *w, tr_error *err) {
    tr_design *d = &r->design;
    double size[2] = {0, 0};
    if (w->size && !tr_options_pair(w->size, MAX_FACE_MM, size)) {
        return tr_fail(err, TR_BAD_INPUT,
                       "'--size %.40s' is not WIDTHxHEIGHT in mm, as in 1600x1000", w->size);
    }
    d->width_mm = size[0];
    d->height_mm = size[1];
    if (w->tag &&
        !(tr_number_parse(w->tag, &d->tag_mm) && d->tag_mm > 0 && d->tag_mm <= MAX_FACE_MM)) {
        return tr_fail(err, TR_BAD_INPUT, "'--tag %.40s' is not a length in mm above 0, as in 120",
                       w->tag);
    }
    return true;
}

static bool set_squares(request *r, const words *w, tr_error *err) {
    tr_design *d = &r->design;
    double n[2];
    if (d->kind != TR_DESIGN_CHECKERBOARD) {
        if (!w->squares && !w->pitch) return true;
        return tr_fail(err, TR_BAD_INPUT, "'%s' is for a checkerboard; leave it out",
                       w->squares ? "--squares" : "--pitch");
    }
    if (!w->squares || !w->pitch) {
        return tr_fail(err, TR_BAD_INPUT,
                       "a checkerboard needs '--squares' and '--pitch', as in --squares 10x7 "
                       "--pitch 25");
    }
    if (!tr_options_pair(w->squares, TR_DESIGN_MAX_SQUARES, n) || n[0] < TR_DESIGN_MIN_SQUARES ||
        n[1] < TR_DESIGN_MIN_SQUARES || n[0] != (int)n[0] || n[1] != (int)n[1]) {
        return tr_fail(err, TR_BAD_INPUT,
                       "'--squares %.40s' is not COLSxROWS from %dx%d to %dx%d, as in 10x7",
                       w->squares, TR_DESIGN_MIN_SQUARES, TR_DESIGN_MIN_SQUARES,
                       TR_DESIGN_MAX_SQUARES, TR_DESIGN_MAX_SQUARES);
    }
    d->squares_x = (int)n[0];
    d->squares_y = (int)n[1];
    return (tr_number_parse(w->pitch, &d->pitch_mm) && d->pitch_mm >= 1 &&
            d->pitch_mm <= MAX_PITCH_MM) ||
           tr_fail(err, TR_BAD_INPUT, "'--pitch %.40s' is not a length from 1 to %.0f mm, as in 25",
                   w->pitch, MAX_PITCH_MM);
}

static bool set_ids(request *r, const words *w, tr_error *err) {
    tr_design *d = &r->design;
    d->family = w->family ? w->family : "tag36h11";
    int size = tr_tag_family_size(d->family);
    if (size == 0) {
        return tr_fail(err, TR_BAD_INPUT,
                       "'--family %.40s' is not known here; tag36h11 is the usual one", d->family);
    }
    d->id_high = size - 1;
    if (!w->ids) return true;
    char low[16];
    long a, b;
    const char *dots = strstr(w->ids, "..");
    size_t n = dots ? (size_t)(dots - w->ids) : sizeof low;
    if (n < sizeof low) {
        memcpy(low, w->ids, n);
        low[n] = 0;
    }
    if (n >= sizeof low || !tr_integer_parse(low, &a) || !tr_integer_parse(dots + 2, &b) || a < 0 ||
        a > b || b > d->id_high) {
        return tr_fail(err, TR_BAD_INPUT,
                       "'--ids %.40s' is not a range A..B within 0..%d, which %s has; as in "
                       "100..199",
                       w->ids, d->id_high, d->family);
    }
    d->id_low = (int)a;
    d->id_high = (int)b;
    return true;
}

static bool parse(int argc, char **argv, request *r, tr_error *err) {
    words w = {0};
    const tr_option options[] = {{"--name", &w.name, NULL},       {"--out", &w.out, NULL},
                                 {"--size", &w.size, NULL},       {"--tag", &w.tag, NULL},
                                 {"--squares", &w.squares, NULL}, {"--pitch", &w.pitch, NULL},
                                 {"--title", &w.title, NULL},     {"--ids", &w.ids, NULL},
                                 {"--family", &w.family, NULL},   {"--sheets", &w.sheets, NULL}};
    int n;
    if (!tr_options_parse(&tr_help_design, argc, argv, options, sizeof options / sizeof *options,
                          &n, &r->is_help, err)) {
        return false;
    }
    if (n > 1 && !r->is_help) {
        return tr_fail(err, TR_BAD_INPUT, "'%.80s' is one word too many; name one design", argv[2]);
    }
    w.kind = n > 0 ? argv[1] : NULL;
    return r->is_help || (set_kind(r, w.kind, err) && set_names(r, &w, err) &&
                          set_sizes(r, &w, err) && set_squares(r, &w, err) && set_ids(r, &w, err));
}

/* Where the bob hangs over a plate, or that it can do so at its centre alone; or where the tip is.
 */
static void print_place(const tr_artwork *a) {
    char place[768];
    if (a->sheet->kind != TR_SHEET_PLATE) return;
    tr_text_wrap(stdout, 0, 0,
                 tr_artwork_tell_place(a, place) ? place
                 : a->sheet->has_tip
                     ? TR_("Note: there is no room for the tip")
                     : TR_("Note: there is no room for a plumb mark near the middle of an edge"));
}

static void print_sheet(const request *r, const tr_artwork *a, const tr_sheet_folder *others) {
    const tr_sheet *s = a->sheet;
    const tr_design *d = &r->design;
    tr_options_print_written(s->id, r->out);
    printf(TR_("%.6g x %.6g mm; tags: %d of %.6g mm; checker corners: %d"), s->width_mm,
           s->height_mm, s->n_tags, s->tags[0].size_mm, s->n_corners);
    char tags[128];
    snprintf(tags, sizeof tags, TR_("Tags, of %s:"), s->tag_family);
    printf("\n%s ", tags);
    tr_sheet_ids_print(s, d->id_low, d->id_high, tr_text_columns(tags) + 1, 2, stdout);
    printf(TR_("Taken before by other sheets, of %d to %d:"), d->id_low, d->id_high);
    putchar('\n');
    int n_taken = 0;
    for (int id = d->id_low; id <= d->id_high; id++)
        n_taken += tr_sheet_folder_owner(others, d->family, id) != NULL;
    if (n_taken == 0) printf("  %s\n", TR_("none"));
    tr_sheet_ids_print_taken(others, d->family, d->id_low, d->id_high, stdout);
    if (d->kind == TR_DESIGN_CHECKERBOARD && (d->squares_x + d->squares_y) % 2 == 0) {
        tr_text_wrap(
            stdout, 0, 0,
            TR_("Note: this checkerboard looks the same after half a turn; with an even number of "
                "squares one way and an odd one the other its ends can be told apart."));
    }
    if (d->kind == TR_DESIGN_HUB) {
        tr_text_wrap(
            stdout, 0, 0,
            TR_("Note: a job needs its standoff_mm, from the printed face inward to the wheel's "
                "mid-plane, as it hangs; roll the vehicle by a quarter turn of its wheels between "
                "two groups of photos ('trammel help job', positions), and how it hangs is "
                "measured, too."));
    }
    print_place(a);
    printf("%s trammel print ", TR_("Print it:"));
    tr_options_print_word(r->out);
    puts(" --out FILE.pdf");
}

static bool design_sheet(const request *r, tr_error *err) {
    tr_sheet_folder others = {0};
    tr_sheet sheet = {0};
    tr_artwork artwork = {0};
    struct stat about;
    if (lstat(r->out, &about) == 0) {
        return tr_fail_at(err, TR_NO_FILE, r->out, 0, NULL,
                          "already exists; a sheet that may have been printed is not replaced: "
                          "give another name, or remove it first");
    }
    char *folder = tr_path_beside(r->out, "");
    if (!folder) return tr_fail_memory(err);
    bool ok = tr_sheet_folder_read(r->sheets ? r->sheets : folder, &others, err) &&
              tr_design_make(&r->design, &others, &sheet, err);
    bool is_laid_out = ok && tr_artwork_make(&sheet, &artwork, err);
    ok = is_laid_out && tr_sheet_write(r->out, &sheet, err);
    if (ok) print_sheet(r, &artwork, &others);
    if (is_laid_out) tr_artwork_release(&artwork);
    tr_sheet_release(&sheet);
    tr_sheet_folder_release(&others);
    free(folder);
    return ok;
}

int tr_cmd_design(int argc, char **argv) {
    request r = {0};
    tr_error err = {0};
    tr_shop_prefer_language();
    if (!parse(argc, argv, &r, &err)) return tr_options_refuse(&tr_help_design, &err);
    if (r.is_help) return tr_options_help(&tr_help_design);
    if (design_sheet(&r, &err)) return TR_EXIT_PASS;
    tr_options_print_error("design", &err);
    return TR_EXIT_NO_MEASURE;
}
