#include "present/survey_text.h"

#include <string.h>

#include "base/language.h"
#include "base/text.h"
#include "base/wrap.h"
#include "present/catalogue.h"
#include "present/cautions.h"
#include "present/words.h"

static void put_paragraph(FILE *out, int column, int indent, const char *text) {
    char shown[2048];
    tr_text_show(text, strlen(text), shown, sizeof shown);
    tr_text_wrap(out, column, indent, shown);
}

static void put_head(const tr_survey *v, FILE *out) {
    char head[512 + TR_MAX_LENSES * sizeof v->spec->lenses->id];
    char lenses[TR_MAX_LENSES * sizeof v->spec->lenses->id] = "";
    int n = 0;
    size_t used = 0;
    for (int i = 0; i < v->spec->n_lenses; i++) {
        int end = snprintf(lenses + used, sizeof lenses - used, "%s%s", i > 0 ? ", " : "",
                           v->spec->lenses[i].id);
        used += (size_t)end;
    }
    for (int i = 0; i < v->n_lengths; i++) n += v->lengths[i].is_used;
    snprintf(head, sizeof head,
             v->spec->n_lenses > 1 ? TR_("Survey %s, lenses %s: %d of %d photos; known lengths: %d")
                                   : TR_("Survey %s, lens %s: %d of %d photos; known lengths: %d"),
             v->spec->id, lenses, v->n_used, v->set.n_photos, n);
    put_paragraph(out, 0, 4, head);
}

/* ---- one sheet ---- */

enum { TITLE_SIZE = 64 };

/* "tag 60", "corner 3". */
static void print_title(const tr_survey *v, const tr_survey_mark *m, char out[TITLE_SIZE]) {
    char english[TITLE_SIZE];
    tr_survey_mark_title(v->spec, m->name, english, sizeof english);
    tr_message_translated(english, out, TITLE_SIZE);
}

/* Marks are named in a column of at least 9. */
static int mark_columns(const tr_survey *v, const tr_survey_sheet *s) {
    int most = tr_text_columns(TR_("mark")) + 1;
    for (int k = 0; k < s->n_marks; k++) {
        char title[TITLE_SIZE];
        print_title(v, &v->marks[s->first_mark + k], title);
        int n = tr_text_columns(title) + 1;
        most = n > most ? n : most;
    }
    return most > 9 ? most : 9;
}

static void put_frame(const tr_survey *v, int sheet, FILE *out) {
    const tr_survey_sheet *s = &v->sheets[sheet];
    char text[1024] = "";
    int n = 0;
    int n_known = 0;
    for (int k = 0; k < s->n_marks; k++) {
        const tr_survey_mark *m = &v->marks[s->first_mark + k];
        char title[TITLE_SIZE];
        size_t used = strlen(text);
        if (m->is_measured && m->has_nominal) n_known++;
        if (!m->is_measured || !m->is_datum) continue;
        print_title(v, m, title);
        if (n < 12) snprintf(text + used, sizeof text - used, "%s%s", n ? ", " : "", title);
        n++;
    }
    fputs("  ", out);
    char sentence[1200];
    if (s->is_aligned) {
        snprintf(sentence, sizeof sentence, TR_("The frame rests on the marks named: %s."), text);
    } else if (n == n_known) {
        snprintf(sentence, sizeof sentence,
                 TR_("The frame rests on all %d marks whose places the file gives."), n);
    } else {
        snprintf(
            sentence, sizeof sentence,
            TR_("The frame rests on %d marks whose places the file gives, as far as they agree "
                "(%s%s)."),
            n, text, n > 12 ? ", ..." : "");
    }
    put_paragraph(out, 2, 4, sentence);
}

static void put_number(FILE *out, int width, int decimals, bool is_known, bool is_signed,
                       double x) {
    char text[TR_CELL_SIZE] = "-";
    if (is_known) tr_number_rounded(x, decimals, is_signed, text);
    fprintf(out, "%*s", width, text);
}

/* "±0.10", right-aligned in 7 columns. */
static void put_u95(FILE *out, int decimals, double u95) {
    char text[TR_CELL_SIZE];
    tr_u95_rounded(u95, decimals, text);
    fprintf(out, "%*s%s", 7 - tr_text_columns(text) > 0 ? 7 - tr_text_columns(text) : 1, "", text);
}

static void put_places(const tr_survey *v, const tr_survey_sheet *s, FILE *out) {
    const int first = mark_columns(v, s);
    static const char *const HEADS[] = {TR_N("file says"), TR_N("measured"), TR_N("difference"),
                                        TR_N("u95")};
    static const int WIDTHS[] = {12, 17, 17, 14};
    fputc('\n', out);
    tr_text_left(out, "", 2 + first);
    for (int k = 0; k < 4; k++) {
        const char *head = tr_translated(HEADS[k]);
        tr_text_right(out, head, tr_text_column(head, WIDTHS[k]));
    }
    fputs("\n  ", out);
    tr_text_left(out, TR_("mark"), first);
    fputs("   x mm    y mm     x mm     y mm    x mm    y mm     x mm   y mm\n", out);
    for (int k = 0; k < s->n_marks; k++) {
        const tr_survey_mark *m = &v->marks[s->first_mark + k];
        char title[TITLE_SIZE];
        print_title(v, m, title);
        fputs("  ", out);
        tr_text_left(out, title, first);
        put_number(out, 7, 1, m->has_nominal, false, m->nominal_mm.x);
        put_number(out, 8, 1, m->has_nominal, false, m->nominal_mm.y);
        if (!m->is_measured) {
            fprintf(out, "  %s\n", TR_("not measured"));
            continue;
        }
        put_number(out, 9, 2, true, false, m->at_mm.x);
        put_number(out, 9, 2, true, false, m->at_mm.y);
        put_number(out, 8, 2, m->has_nominal, true, m->at_mm.x - m->nominal_mm.x);
        put_number(out, 8, 2, m->has_nominal, true, m->at_mm.y - m->nominal_mm.y);
        fputs("  ", out);
        put_u95(out, 2, m->u95_mm[0]);
        put_u95(out, 2, m->u95_mm[1]);
        fputc('\n', out);
    }
}

static void put_tags(const tr_survey *v, const tr_survey_sheet *s, FILE *out) {
    static const char *const HEADS[] = {TR_N("turn °"), TR_N("width mm"), TR_N("height mm"),
                                        TR_N("file says mm")};
    static const int WIDTHS[] = {9, 21, 18, 16};
    const int first = mark_columns(v, s);
    fputc('\n', out);
    tr_text_left(out, "", 2 + first);
    for (int k = 0; k < 4; k++) {
        const char *head = tr_translated(HEADS[k]);
        tr_text_right(out, head, tr_text_column(head, WIDTHS[k]));
    }
    fputc('\n', out);
    for (int k = 0; k < s->n_marks; k++) {
        const tr_survey_mark *m = &v->marks[s->first_mark + k];
        char title[TITLE_SIZE];
        if (!m->is_measured || !m->name.is_tag) continue;
        print_title(v, m, title);
        fputs("  ", out);
        tr_text_left(out, title, first);
        put_number(out, 9, 3, true, false, m->turn_rad * TR_DEG_PER_RAD);
        put_u95(out, 3, m->u95_turn_rad * TR_DEG_PER_RAD);
        put_number(out, 11, 2, true, false, m->edges_mm[0]);
        put_u95(out, 2, m->u95_edges_mm[0]);
        put_number(out, 11, 2, true, false, m->edges_mm[1]);
        put_u95(out, 2, m->u95_edges_mm[1]);
        put_number(out, 13, 1, true, false, m->nominal_size_mm);
        fputc('\n', out);
    }
}

static void put_condition(const tr_survey_sheet *s, FILE *out) {
    char u95[2][TR_CELL_SIZE], line[256];
    fputc('\n', out);
    if (s->has_scale) {
        for (int k = 0; k < 2; k++) tr_u95_rounded(100 * s->scale_u95[k], 3, u95[k]);
        snprintf(line, sizeof line, TR_("Print scale: x %.3f %% %s, y %.3f %% %s"),
                 100 * s->scale[0], u95[0], 100 * s->scale[1], u95[1]);
    } else {
        snprintf(line, sizeof line, "%s",
                 TR_("Print scale: not measured, as the file gives the places of too few marks"));
    }
    fputs("  ", out);
    tr_text_wrap(out, 2, 4, line);
    if (s->condition.has_flatness) {
        tr_u95_rounded(s->condition.flatness_u95_mm, 1, u95[0]);
        snprintf(line, sizeof line, TR_("Flatness: the marks differ by %.1f mm %s in height"),
                 s->condition.flatness_mm, u95[0]);
    } else {
        snprintf(line, sizeof line, "%s",
                 TR_("Flatness: not measured; it takes five marks, seen from several sides"));
    }
    fputs("  ", out);
    tr_text_wrap(out, 2, 4, line);
}

static void put_sheet(const tr_survey *v, int sheet, const char *file, FILE *out) {
    const tr_survey_sheet *s = &v->sheets[sheet];
    char head[512];
    char name[300];
    tr_text_fit(file, sizeof name, name, sizeof name);
    snprintf(head, sizeof head, TR_("%s: %d tags and %d corners measured, written to %s"),
             v->spec->sheets[sheet].id, s->measured.n_tags, s->measured.n_corners, name);
    fputc('\n', out);
    put_paragraph(out, 0, 4, head);
    put_frame(v, sheet, out);
    put_places(v, s, out);
    put_tags(v, s, out);
    put_condition(s, out);
}

/* ---- lengths, photos, findings ---- */

static void put_lengths(const tr_survey *v, FILE *out) {
    if (v->n_lengths == 0) return;
    const int stated_column = tr_text_column(TR_("stated mm"), 12);
    const int measured_column = tr_text_column(TR_("measured mm"), 20);
    fprintf(out, "\n%s\n", TR_("Known lengths"));
    tr_text_left(out, "", 30);
    tr_text_right(out, TR_("stated mm"), stated_column);
    tr_text_right(out, TR_("measured mm"), measured_column);
    fputc('\n', out);
    for (int i = 0; i < v->n_lengths; i++) {
        const tr_survey_length *l = &v->lengths[i];
        char title[128], shown[128];
        tr_message_translated(l->title, title, sizeof title);
        tr_text_show(title, strlen(title), shown, sizeof shown);
        fprintf(out, "  %s ", shown);
        tr_text_left(out, "", 29 - tr_text_columns(shown));
        if (!l->is_used) {
            fprintf(out, "%s\n", TR_("not used: its marks are not in view"));
            continue;
        }
        char stated[64], u95[TR_CELL_SIZE];
        tr_u95_rounded(TR_COVERAGE_FACTOR * l->sd_mm, 2, u95);
        snprintf(stated, sizeof stated, "%.2f %s", l->stated_mm, u95);
        fprintf(out, "%s%*s%.2f\n", stated, 20 - tr_text_columns(stated), "", l->measured_mm);
    }
}

static void put_photos(const tr_survey *v, FILE *out) {
    for (int i = 0; i < v->set.n_photos; i++) {
        const tr_photo *p = &v->set.photos[i];
        char why_not[TR_FINDING_TEXT_SIZE];
        char text[sizeof why_not + 256];
        char name[200];
        if (p->is_used || p->why_not.n == 0) continue;
        tr_reason_text(p->why_not.items, why_not);
        tr_text_fit(p->file, sizeof name, name, sizeof name);
        snprintf(text, sizeof text, TR_("Photo %s is not used: %s."), name, why_not);
        put_paragraph(out, 0, 4, text);
    }
}

static void put_findings(const tr_survey *v, FILE *out) {
    for (int i = 0; i < v->findings.n; i++) {
        char text[TR_FINDING_TEXT_SIZE];
        tr_finding_text(&v->findings.items[i], text);
        fputs("! ", out);
        put_paragraph(out, 2, 2, text);
    }
}

void tr_survey_text(const tr_survey *v, char *const *files, FILE *out) {
    put_head(v, out);
    for (int s = 0; s < v->spec->n_sheets; s++) put_sheet(v, s, files[s], out);
    put_lengths(v, out);
    if (v->findings.n > 0) fputc('\n', out);
    put_findings(v, out);
    fputc('\n', out);
    put_paragraph(
        out, 0, 0,
        TR_("± is the expanded uncertainty (k = 2), the scale's share included. Name the new file "
            "in "
            "the jobs, in place of the old one: a check then measures with the places measured "
            "here, and counts in how well they are known. Survey again when a tag was touched or "
            "the sheet has stretched."));
    fputc('\n', out);
    tr_text_wrap(out, 0, 0, tr_cautions_short());
}

/* "Written: 1 of 2 files (out/a.yaml). Then: ", where it was not nothing. */
static void print_written(const tr_survey *v, char *const *files, char *out, size_t size) {
    char list[512] = "";
    size_t used = 0;
    int n = 0;
    for (int s = 0; s < v->spec->n_sheets; s++) {
        if (!files || !files[s]) continue;
        char name[128];
        tr_text_fit(files[s], sizeof name, name, sizeof name);
        if (used + strlen(name) + 2 < sizeof list) {
            used += (size_t)snprintf(list + used, sizeof list - used, "%s%s", n ? ", " : "", name);
        }
        n++;
    }
    if (n == 0) {
        snprintf(out, size, "%s ", TR_("Nothing was written:"));
    } else {
        snprintf(out, size, TR_("Written: %d of %d files (%s). Then:"), n, v->spec->n_sheets, list);
        size_t end = strlen(out);
        snprintf(out + end, size - end, " ");
    }
}

void tr_survey_text_failed(const tr_survey *v, const tr_error *why, char *const *files, FILE *out) {
    char line[2048];
    put_head(v, out);
    put_lengths(v, out);
    fputc('\n', out);
    put_photos(v, out);
    put_findings(v, out);
    print_written(v, files, line, sizeof line);
    size_t n = strlen(line);
    tr_error_print(why, line + n, sizeof line - n);
    put_paragraph(out, 0, 4, line);
}
