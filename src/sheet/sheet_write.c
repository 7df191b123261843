#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/number.h"
#include "sheet/sheet.h"

/* A number with a fixed count of decimals, the same under every locale; |x| 10^decimals < 1e15. */
static void put_fixed(FILE *to, double x, int decimals) {
    long long unit = 1;
    for (int k = 0; k < decimals; k++) unit *= 10;
    long long n = llround(fabs(x) * (double)unit);
    fprintf(to, "%s%lld.%0*lld", x < 0 && n > 0 ? "-" : "", n / unit, decimals, n % unit);
}

static void put_number(FILE *to, double x) {
    char text[TR_NUMBER_SIZE];
    tr_number_print(x, text);
    fputs(text, to);
}

/* Between double quotes, so that no name can be taken for a number, a date or a boolean. */
static void put_quoted(FILE *to, const char *text) {
    fputc('"', to);
    for (; *text; text++) {
        if (*text == '"' || *text == '\\') fputc('\\', to);
        fputc(*text, to);
    }
    fputc('"', to);
}

/* What was measured is rounded; what was designed is read back exactly. */
static void put_length(FILE *to, const tr_sheet *sheet, double x_mm) {
    if (sheet->survey.n_rows > 0) {
        put_fixed(to, x_mm, 4);
        return;
    }
    char text[TR_NUMBER_SIZE];
    tr_number_print_short(x_mm, text);
    fputs(text, to);
}

static void put_point(FILE *to, const tr_sheet *sheet, tr_vec2 p) {
    fputc('[', to);
    put_length(to, sheet, p.x);
    fputs(", ", to);
    put_length(to, sheet, p.y);
    fputc(']', to);
}

static void put_turn(FILE *to, const tr_sheet *sheet, double turn_rad) {
    double degrees = turn_rad * TR_DEG_PER_RAD;
    double whole = round(degrees);
    char text[TR_NUMBER_SIZE];
    if (sheet->survey.n_rows > 0) {
        put_fixed(to, degrees, 6);
        return;
    }
    /* The shortest number of degrees that is read as this angle. */
    tr_number_print_short(TR_RAD_PER_DEG * whole == turn_rad ? whole : degrees, text);
    fputs(text, to);
}

static void put_tag(FILE *to, const tr_sheet *sheet, const tr_tag *tag) {
    fprintf(to, "  - { id: %d, centre_mm: ", tag->id);
    put_point(to, sheet, tag->centre_mm);
    fputs(", size_mm: ", to);
    put_length(to, sheet, tag->size_mm);
    if (tag->turn_rad != 0) {
        fputs(", turn_deg: ", to);
        put_turn(to, sheet, tag->turn_rad);
    }
    if (tag->edges_mm[0] > 0) {
        fputs(",\n      edges_mm: ", to);
        put_point(to, sheet, tr_v2(tag->edges_mm[0], tag->edges_mm[1]));
    }
    fputs(" }\n", to);
}

static void put_survey(FILE *to, const tr_sheet *sheet) {
    const tr_sheet_survey *s = &sheet->survey;
    fputs("survey:\n  name: ", to);
    put_quoted(to, s->id);
    fputs("\n  lengths: [", to);
    for (int i = 0; i < s->n_lengths; i++) {
        if (i > 0) fputs(", ", to);
        put_quoted(to, s->lengths[i]);
    }
    fputs("]\n  scale_sd: ", to);
    put_number(to, s->scale_sd);
    fputs(
        "\n  # lower triangle; each tag x, y (mm), turn (deg), width, height (mm); each corner x, y"
        "\n  covariance:\n",
        to);
    for (int i = 0; i < s->n_rows; i++) {
        fputs("    - [", to);
        for (int j = 0; j <= i; j++) {
            double unit = 1;
            if (i < TR_TAG_N * sheet->n_tags && i % TR_TAG_N == TR_TAG_TURN) unit *= TR_DEG_PER_RAD;
            if (j < TR_TAG_N * sheet->n_tags && j % TR_TAG_N == TR_TAG_TURN) unit *= TR_DEG_PER_RAD;
            if (j > 0) fputs(", ", to);
            put_number(to, s->covariance[i * s->n_rows + j] * unit);
        }
        fputs("]\n", to);
    }
}

static void put_sheet(FILE *to, const tr_sheet *sheet, const char *comments) {
    if (comments) fputs(comments, to);
    fputs("sheet: ", to);
    put_quoted(to, sheet->id);
    fputs("\ntitle: ", to);
    put_quoted(to, sheet->title);
    fprintf(to, "\nkind: %s\nsize_mm: ", tr_sheet_kind_name(sheet->kind));
    put_point(to, sheet, tr_v2(sheet->width_mm, sheet->height_mm));
    fprintf(to, "\ntag_family: %s\ntags:\n", sheet->tag_family);
    for (int i = 0; i < sheet->n_tags; i++) put_tag(to, sheet, &sheet->tags[i]);
    if (sheet->n_corners > 0) fputs("corners_mm:\n", to);
    for (int i = 0; i < sheet->n_corners; i++) {
        fputs("  - ", to);
        put_point(to, sheet, sheet->corners_mm[i]);
        fputc('\n', to);
    }
    if (sheet->survey.n_rows > 0) put_survey(to, sheet);
}

bool tr_sheet_write(const char *path, const tr_sheet *sheet, const char *comments, tr_error *err) {
    char *text = NULL;
    size_t size = 0;
    FILE *to = open_memstream(&text, &size);
    if (!to) return tr_fail_memory(err);
    put_sheet(to, sheet, comments);
    bool is_whole = !ferror(to);
    is_whole = fclose(to) == 0 && is_whole;
    bool ok = is_whole ? tr_file_write(path, text, size, err) : tr_fail_memory(err);
    free(text);
    return ok;
}
