#include "sheet/sheet.h"

#include <stdio.h>
#include <stdlib.h>

#include "base/file.h"
#include "base/number.h"
#include "base/yaml_write.h"

static void put_number(FILE *to, double x) {
    char text[TR_NUMBER_SIZE];
    tr_number_print_short(x, text);
    fputs(text, to);
}

static void put_pair(FILE *to, double x, double y) {
    fputc('[', to);
    put_number(to, x);
    fputs(", ", to);
    put_number(to, y);
    fputc(']', to);
}

/* The shortest number of degrees that is read as this angle. */
static void put_degrees(FILE *to, double angle_rad) {
    double whole = round(angle_rad * TR_DEG_PER_RAD);
    bool is_whole = TR_RAD_PER_DEG * whole == angle_rad;
    put_number(to, is_whole ? whole : angle_rad * TR_DEG_PER_RAD);
}

static void put_tag(FILE *to, const tr_tag *tag) {
    fprintf(to, "  - { id: %d, centre_mm: ", tag->id);
    put_pair(to, tag->centre_mm.x, tag->centre_mm.y);
    fputs(", size_mm: ", to);
    put_number(to, tag->size_mm);
    if (tag->turn_rad != 0) {
        fputs(", turn_deg: ", to);
        put_degrees(to, tag->turn_rad);
    }
    if (tag->edges_mm[0] > 0) {
        fputs(",\n      edges_mm: ", to);
        put_pair(to, tag->edges_mm[0], tag->edges_mm[1]);
    }
    fputs(" }\n", to);
}

static void put_disc(FILE *to, const tr_disc *disc) {
    fputs("  - { centre_mm: ", to);
    put_pair(to, disc->centre_mm.x, disc->centre_mm.y);
    fputs(", diameter_mm: ", to);
    put_number(to, disc->diameter_mm);
    fputs(disc->is_white ? ", colour: white }\n" : " }\n", to);
}

static void put_point(FILE *to, const tr_sheet_point *point) {
    const double at[3] = {point->at_mm.x, point->at_mm.y, point->at_mm.z};
    fputs("  - { name: ", to);
    tr_yaml_put_text(to, point->name);
    fputs(", at_mm: [", to);
    for (int k = 0; k < 3; k++) {
        if (k > 0) fputs(", ", to);
        put_number(to, at[k]);
    }
    fputs("] }\n", to);
}

static void put_survey(FILE *to, const tr_sheet *sheet) {
    const tr_sheet_survey *s = &sheet->survey;
    fputs("survey:\n  name: ", to);
    tr_yaml_put_text(to, s->id);
    fputs("\n  lengths: [", to);
    for (int i = 0; i < s->n_lengths; i++) {
        if (i > 0) fputs(", ", to);
        tr_yaml_put_text(to, s->lengths[i]);
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

static void put_sheet(FILE *to, const tr_sheet *sheet) {
    fputs("sheet: ", to);
    tr_yaml_put_text(to, sheet->id);
    fputs("\ntitle: ", to);
    tr_yaml_put_text(to, sheet->title);
    if (*sheet->label) {
        fputs("\nlabel: ", to);
        tr_yaml_put_text(to, sheet->label);
    }
    fprintf(to, "\nkind: %s\nsize_mm: ", tr_sheet_kind_name(sheet->kind));
    put_pair(to, sheet->width_mm, sheet->height_mm);
    fputc('\n', to);
    if (sheet->tag_family[0]) fprintf(to, "tag_family: %s\n", sheet->tag_family);
    if (sheet->tag_family[0] || sheet->n_tags > 0)
        fprintf(to, "tags:%s\n", sheet->n_tags > 0 ? "" : " []");
    for (int i = 0; i < sheet->n_tags; i++) put_tag(to, &sheet->tags[i]);
    if (sheet->n_corners > 0) fputs("corners_mm:\n", to);
    for (int i = 0; i < sheet->n_corners; i++) {
        fputs("  - ", to);
        put_pair(to, sheet->corners_mm[i].x, sheet->corners_mm[i].y);
        fputc('\n', to);
    }
    if (sheet->n_discs > 0) fputs("discs:\n", to);
    for (int i = 0; i < sheet->n_discs; i++) put_disc(to, &sheet->discs[i]);
    if (sheet->has_tip) {
        fputs("tip_mm: ", to);
        put_pair(to, sheet->tip_mm.x, sheet->tip_mm.y);
        fputc('\n', to);
    }
    if (sheet->n_points > 0) fputs("points:\n", to);
    for (int i = 0; i < sheet->n_points; i++) put_point(to, &sheet->points[i]);
    if (sheet->survey.n_rows > 0) put_survey(to, sheet);
}

bool tr_sheet_print(const tr_sheet *sheet, char **text, size_t *size, tr_error *err) {
    *text = NULL;
    *size = 0;
    FILE *to = open_memstream(text, size);
    if (!to) return tr_fail_memory(err);
    put_sheet(to, sheet);
    bool is_whole = !ferror(to);
    if (fclose(to) != 0 || !*text) is_whole = false; /* NULL: its last allocation failed */
    if (is_whole) return true;
    free(*text);
    *text = NULL;
    return tr_fail_memory(err);
}

bool tr_sheet_write(const char *path, const tr_sheet *sheet, tr_error *err) {
    char *text;
    size_t size;
    if (!tr_sheet_print(sheet, &text, &size, err)) return false;
    bool ok = tr_file_write(path, text, size, err);
    free(text);
    return ok;
}
