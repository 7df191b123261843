#include "present/survey_text.h"

#include <string.h>

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
    snprintf(head, sizeof head, "Survey %s, %s %s: %d of %d photos, %d known %s", v->spec->id,
             v->spec->n_lenses > 1 ? "lenses" : "lens", lenses, v->n_used, v->set.n_photos, n,
             n == 1 ? "length" : "lengths");
    put_paragraph(out, 0, 4, head);
}

/* ---- one sheet ---- */

static void put_frame(const tr_survey *v, int sheet, FILE *out) {
    const tr_survey_sheet *s = &v->sheets[sheet];
    char text[1024] = "";
    int n = 0;
    int n_known = 0;
    for (int k = 0; k < s->n_marks; k++) {
        const tr_survey_mark *m = &v->marks[s->first_mark + k];
        char title[32];
        size_t used = strlen(text);
        if (m->is_measured && m->has_nominal) n_known++;
        if (!m->is_measured || !m->is_datum) continue;
        tr_survey_mark_title(v->spec, m->name, title, sizeof title);
        if (n < 12) snprintf(text + used, sizeof text - used, "%s%s", n ? ", " : "", title);
        n++;
    }
    fputs("  ", out);
    char sentence[1200];
    if (s->is_aligned) {
        snprintf(sentence, sizeof sentence, "The frame rests on the marks named: %s.", text);
    } else if (n == n_known) {
        snprintf(sentence, sizeof sentence,
                 "The frame rests on all %d marks whose places the file gives.", n);
    } else {
        snprintf(sentence, sizeof sentence,
                 "The frame rests on %d marks whose places the file gives, as far as they agree "
                 "(%s%s).",
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
    fputs("\n              file says         measured       difference           u95\n"
          "  mark        x mm    y mm     x mm     y mm    x mm    y mm     x mm   y mm\n",
          out);
    for (int k = 0; k < s->n_marks; k++) {
        const tr_survey_mark *m = &v->marks[s->first_mark + k];
        char title[32];
        tr_survey_mark_title(v->spec, m->name, title, sizeof title);
        fprintf(out, "  %-9s", title);
        put_number(out, 7, 1, m->has_nominal, false, m->nominal_mm.x);
        put_number(out, 8, 1, m->has_nominal, false, m->nominal_mm.y);
        if (!m->is_measured) {
            fputs("  not measured\n", out);
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
    fputs("\n              turn °             width mm         height mm    file says mm\n", out);
    for (int k = 0; k < s->n_marks; k++) {
        const tr_survey_mark *m = &v->marks[s->first_mark + k];
        char title[32];
        if (!m->is_measured || !m->name.is_tag) continue;
        tr_survey_mark_title(v->spec, m->name, title, sizeof title);
        fprintf(out, "  %-9s", title);
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
    char u95[2][TR_CELL_SIZE];
    fputc('\n', out);
    if (s->has_scale) {
        for (int k = 0; k < 2; k++) tr_u95_rounded(100 * s->scale_u95[k], 3, u95[k]);
        fprintf(out, "  Print scale: x %.3f %% %s, y %.3f %% %s\n", 100 * s->scale[0], u95[0],
                100 * s->scale[1], u95[1]);
    } else {
        fputs("  Print scale: not measured, as the file gives the places of too few marks\n", out);
    }
    if (s->condition.has_flatness) {
        tr_u95_rounded(s->condition.flatness_u95_mm, 1, u95[0]);
        fprintf(out, "  Flatness: the marks differ by %.1f mm %s in height\n",
                s->condition.flatness_mm, u95[0]);
    } else {
        fputs("  Flatness: not measured; it takes five marks, seen from several sides\n", out);
    }
}

static void put_sheet(const tr_survey *v, int sheet, const char *file, FILE *out) {
    const tr_survey_sheet *s = &v->sheets[sheet];
    char head[512];
    char name[300];
    tr_text_fit(file, sizeof name, name, sizeof name);
    snprintf(head, sizeof head, "%s: %d tags and %d corners measured, written to %s",
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
    fputs("\nKnown lengths\n                                 stated mm         measured mm\n", out);
    for (int i = 0; i < v->n_lengths; i++) {
        const tr_survey_length *l = &v->lengths[i];
        char shown[64];
        tr_text_show(l->title, strlen(l->title), shown, sizeof shown);
        fprintf(out, "  %s%*s", shown,
                30 - tr_text_columns(shown) > 0 ? 30 - tr_text_columns(shown) : 1, "");
        if (!l->is_used) {
            fputs("not used: its marks are not in view\n", out);
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
        snprintf(text, sizeof text, "Photo %s is not used: %s.", name, why_not);
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
        "± is the expanded uncertainty (k = 2), the scale's share included. Name the new "
        "file in the jobs, in place of the old one: a check then measures with the places "
        "measured here, and counts in how well they are known. Survey again when a tag "
        "was touched or the sheet has stretched.");
    fputc('\n', out);
    tr_text_wrap(out, 0, 0, tr_cautions_short());
}

/* "1 of 2 files was written (out/a.yaml): ", where it was not nothing. */
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
        snprintf(out, size, "Nothing was written: ");
    } else {
        snprintf(out, size, "%d of %d files %s written (%s): ", n, v->spec->n_sheets,
                 n == 1 ? "was" : "were", list);
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
