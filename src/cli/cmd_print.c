/* trammel print: a sheet on paper, at exactly 1:1. */
#include "cli/commands.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/language.h"
#include "base/number.h"
#include "base/text.h"
#include "base/wrap.h"
#include "cli/options.h"
#include "help/pages.h"
#include "present/catalogue.h"
#include "print/write.h"
#include "shop/shop.h"

typedef struct {
    const char *sheet, *out;
    const tr_paper *paper; /* NULL: the sheet's own size */
    double overlap_mm;
    bool is_svg, is_help;
} request;

static bool set_page(request *r, const char *page, tr_error *err) {
    if (!page || strcasecmp(page, "own") == 0) return true;
    r->paper = tr_paper_by_name(page);
    if (!r->paper) {
        return tr_fail(err, TR_BAD_INPUT,
                       "'--page %.40s' is not a known page size; give 'own' or one of %s", page,
                       tr_paper_names());
    }
    return !r->is_svg || tr_fail(err, TR_BAD_INPUT,
                                 "an SVG is one page of the sheet's own size; leave out '--page', "
                                 "or give '--out' a name that ends in .pdf");
}

static bool set_overlap(request *r, const char *overlap, tr_error *err) {
    r->overlap_mm = TR_OVERLAP_MM;
    if (!overlap) return true;
    return (tr_number_parse(overlap, &r->overlap_mm) && r->overlap_mm >= 0 &&
            r->overlap_mm <= TR_MAX_OVERLAP_MM) ||
           tr_fail(err, TR_BAD_INPUT, "'--overlap %.40s' is not a length from 0 to %.0f mm",
                   overlap, TR_MAX_OVERLAP_MM);
}

static bool parse(int argc, char **argv, request *r, tr_error *err) {
    const char *page = NULL;
    const char *overlap = NULL;
    const tr_option options[] = {
        {"--out", &r->out, NULL}, {"--page", &page, NULL}, {"--overlap", &overlap, NULL}};
    int n;
    if (!tr_options_parse(&tr_help_print, argc, argv, options, sizeof options / sizeof *options, &n,
                          &r->is_help, err)) {
        return false;
    }
    if (r->is_help) return true;
    if (n < 1) return tr_fail(err, TR_BAD_INPUT, "no sheet file is named");
    if (n > 1) {
        return tr_fail(err, TR_BAD_INPUT, "'%.80s' is one word too many; name one sheet file",
                       argv[2]);
    }
    r->sheet = argv[1];
    if (!r->out) return tr_fail(err, TR_BAD_INPUT, "'--out' is missing: the file to write");
    r->is_svg = tr_options_ends_in(r->out, ".svg");
    if (!r->is_svg && !tr_options_ends_in(r->out, ".pdf")) {
        return tr_fail(err, TR_BAD_INPUT,
                       "'--out %.200s': give it a name that ends in .pdf or .svg", r->out);
    }
    return set_page(r, page, err) && set_overlap(r, overlap, err);
}

/* The rules, or where there are not both of them the first tag, as the printed note has it. */
static void print_what_to_measure(const tr_artwork *a, const tr_pages *pages) {
    char text[512], edge[TR_NUMBER_SIZE];
    bool has_rules = pages->has_frame || (a->rule_across.is_there && a->rule_up.is_there);
    tr_number_print_short(has_rules ? TR_RULE_MM : a->sheet->tags[0].size_mm, edge);
    snprintf(text, sizeof text,
             has_rules ? TR_("Print at 100 %%, not 'fit to page', and measure the printed rules "
                             "before use: %s mm both ways.")
                       : TR_("Print at 100 %%, not 'fit to page', and measure the black square of "
                             "a tag before use: %s mm both ways."),
             edge);
    tr_text_wrap(stdout, 0, 0, text);
}

static void print_pages(const request *r, const tr_artwork *a, const tr_pages *pages) {
    tr_options_print_written(a->sheet->id, r->out);
    printf(pages->n == 1 ? TR_("%.6g x %.6g mm on %d page of %.6g x %.6g mm")
                         : TR_("%.6g x %.6g mm on %d pages of %.6g x %.6g mm"),
           a->sheet->width_mm, a->sheet->height_mm, pages->n, pages->width_mm, pages->height_mm);
    if (pages->paper) printf(" (%s)", pages->paper->name);
    if (pages->n > 1) {
        fputs(": ", stdout);
        printf(TR_("rows: %d, columns: %d, overlap %.6g mm"), pages->rows, pages->columns,
               pages->overlap_mm);
    }
    fputs("\n", stdout);
    char plumb[768];
    if (tr_artwork_tell_place(a, plumb)) tr_text_wrap(stdout, 0, 0, plumb);
    for (int i = 0; i < a->left_out.n; i++) {
        char text[TR_FINDING_TEXT_SIZE];
        tr_finding_text(&a->left_out.items[i], text);
        const char *label = TR_("Note:");
        int column = tr_text_columns(label) + 1;
        printf("%s ", label);
        tr_text_wrap(stdout, column, column, text);
    }
    print_what_to_measure(a, pages);
}

static bool print_sheet(const request *r, tr_error *err) {
    tr_sheet sheet = {0};
    tr_artwork artwork = {0};
    tr_pages pages = {0};
    char *path = tr_shop_named(TR_SHOP_SHEETS, r->sheet, err);
    bool ok = path && tr_sheet_read(path, &sheet, err);
    bool is_laid_out = ok && tr_artwork_make(&sheet, &artwork, err);
    ok = is_laid_out && tr_pages_plan(&artwork, r->paper, r->overlap_mm, &pages, err) &&
         (r->is_svg ? tr_print_svg(&artwork, &pages, r->out, err)
                    : tr_print_pdf(&artwork, &pages, r->out, err));
    if (ok) print_pages(r, &artwork, &pages);
    tr_pages_release(&pages);
    if (is_laid_out) tr_artwork_release(&artwork);
    tr_sheet_release(&sheet);
    free(path);
    return ok;
}

int tr_cmd_print(int argc, char **argv) {
    request r = {0};
    tr_error err = {0};
    tr_shop_prefer_language();
    if (!parse(argc, argv, &r, &err)) return tr_options_refuse(&tr_help_print, &err);
    if (r.is_help) return tr_options_help(&tr_help_print);
    if (print_sheet(&r, &err)) return TR_EXIT_PASS;
    tr_options_print_error("print", &err);
    return TR_EXIT_NO_MEASURE;
}
