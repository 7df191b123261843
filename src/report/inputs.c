/* What came in: lens profiles, photos, files; and the floor that has to be clear. */
#include <stdio.h>
#include <string.h>

#include "base/language.h"
#include "present/area_page.h"
#include "present/catalogue.h"
#include "present/free_area.h"
#include "present/words.h"
#include "report/content.h"

/* ---- Lenses ---- */

/* A confirmation alone is enough: nobody asks then when the lens was calibrated. */
static bool is_day_asked(const tr_report_lens *lens) {
    return *tr_or_empty(lens->calibrated) || !*tr_or_empty(lens->confirmed);
}

/* "2026-01-30 07:45 UTC, 26 hours before this check". */
static void confirmation_text(const tr_report *report, const tr_report_lens *lens, char *out,
                              size_t size) {
    char at[TR_SHOWN_TIME_SIZE], age[128];
    if (!*tr_or_empty(lens->confirmed)) {
        snprintf(out, size, "%s", TR_("not known"));
        return;
    }
    tr_report_time(lens->confirmed, at);
    tr_report_age(lens->confirmed, tr_or_empty(report->record.made_at), age, sizeof age);
    snprintf(out, size, "%s%s%s", at, *age ? ", " : "", age);
}

static void put_lens(const tr_report *report, tr_document *doc, const tr_report_lens *lens,
                     bool has_days) {
    char size[64] = "–", confirmed[256];
    if (lens->width_px > 0)
        snprintf(size, sizeof size, "%d x %d px", lens->width_px, lens->height_px);
    tr_doc_cell_text(doc, *tr_or_empty(lens->name) ? lens->name : TR_("not named in the result"));
    tr_doc_cell_text(doc, size);
    if (has_days) {
        const char *unknown = is_day_asked(lens) ? TR_("not known") : "–";
        tr_doc_cell_text(doc, *tr_or_empty(lens->calibrated) ? lens->calibrated : unknown);
    }
    confirmation_text(report, lens, confirmed, sizeof confirmed);
    tr_doc_cell_text(doc, confirmed);
}

/* A used photo whose profile no photo before it has; of one lens alone a result tells no name. */
static bool is_new_lens(const tr_check_result *r, int photo) {
    if (!r->photos[photo].is_used) return false;
    for (int i = 0; i < photo; i++) {
        if (r->photos[i].is_used && strcmp(r->photos[i].lens, r->photos[photo].lens) == 0)
            return false;
    }
    return true;
}

static void put_lenses(const tr_report *report, tr_document *doc) {
    const tr_check_result *r = report->result;
    char text[256];
    tr_doc_heading(doc, 2, TR_("Lens"));
    if (r->is_lens_unknown) {
        snprintf(text, sizeof text,
                 TR_("No profile: the lens was found from the photos themselves (focal length %.0f "
                     "px, u95 %.2f %%)."),
                 r->focal_px, 100 * r->focal_u95);
        tr_doc_text(doc, TR_DOC_PLAIN, text);
        return;
    }
    bool has_days = report->n_lenses == 0;
    for (int i = 0; i < report->n_lenses; i++)
        has_days = has_days || is_day_asked(&report->lenses[i]);
    tr_doc_table(doc, has_days ? "tttt" : "ttt");
    tr_doc_cell_text(doc, TR_("profile"));
    tr_doc_cell_text(doc, TR_("image size"));
    if (has_days) tr_doc_cell_text(doc, TR_("calibrated"));
    tr_doc_cell_text(doc, TR_("last confirmed"));
    for (int i = 0; i < report->n_lenses; i++) put_lens(report, doc, &report->lenses[i], has_days);
    for (int i = 0; i < r->n_photos && report->n_lenses == 0; i++) {
        const tr_photo_result *photo = &r->photos[i];
        const tr_report_lens lens = {
            .name = photo->lens, .width_px = photo->width_px, .height_px = photo->height_px};
        if (is_new_lens(r, i)) put_lens(report, doc, &lens, has_days);
    }
}

/* ---- Photos and files ---- */

static const char *state_of(const tr_photo_result *photo) {
    if (!photo->is_used) return TR_("not used");
    return photo->quality.grade == TR_PHOTO_WEAK ? TR_("weak") : TR_("used");
}

/* Rows from which on two stand side by side. */
enum { MANY_ROWS = 5 };

static void put_photos(const tr_report *report, tr_document *doc) {
    const tr_check_result *r = report->result;
    const char *const heads[] = {TR_("photo"), TR_("marks"), TR_("rms, px"), TR_("state"),
                                 TR_("SHA-256")};
    char text[256];
    int n_used = 0;
    for (int i = 0; i < r->n_photos; i++) n_used += r->photos[i].is_used;
    snprintf(text, sizeof text, TR_("Photos: %d of %d used"), n_used, r->n_photos);
    tr_doc_heading(doc, 2, text);
    if (r->n_photos == 0) return;
    tr_doc_table(doc, "tnntt");
    if (r->n_photos >= MANY_ROWS) tr_doc_fold(doc);
    tr_doc_head(doc, heads, 5);
    for (int i = 0; i < r->n_photos; i++) {
        const tr_photo_result *photo = &r->photos[r->order[i]];
        tr_doc_cell_text(doc, photo->name);
        snprintf(text, sizeof text, "%d", photo->is_used ? photo->n_marks : 0);
        tr_doc_cell_text(doc, text);
        snprintf(text, sizeof text, "–");
        if (photo->is_used) snprintf(text, sizeof text, "%.2f", photo->rms_px);
        tr_doc_cell_text(doc, text);
        tr_doc_cell_text(doc, state_of(photo));
        tr_doc_cell_hash(doc, photo->sha256);
    }
}

/* What a file is, in the user's language; records hold these words in English. */
static const char *kind_of_file(const char *what) {
    static const char *const KINDS[] = {TR_N("job"),  TR_N("layout"), TR_N("lens"), TR_N("sheet"),
                                        TR_N("shop"), TR_N("result"), TR_N("file"), TR_N("survey")};
    for (size_t i = 0; i < sizeof KINDS / sizeof *KINDS; i++) {
        if (strcmp(KINDS[i], what) == 0) return tr_translated(KINDS[i]);
    }
    return what;
}

static void put_files(const tr_report *report, tr_document *doc) {
    const char *const heads[] = {TR_("what"), TR_("file"), TR_("SHA-256")};
    if (report->n_files == 0) return;
    tr_doc_heading(doc, 2, TR_("Files"));
    tr_doc_table(doc, "ttt");
    if (report->n_files >= MANY_ROWS) tr_doc_fold(doc);
    tr_doc_head(doc, heads, 3);
    for (int i = 0; i < report->n_files; i++) {
        tr_doc_cell_text(doc, kind_of_file(tr_or_empty(report->files[i].what)));
        tr_doc_cell_text(doc, tr_or_empty(report->files[i].name));
        tr_doc_cell_hash(doc, tr_or_empty(report->files[i].sha256));
    }
}

void tr_report_inputs(const tr_report *report, tr_document *doc) {
    if (report->result->why.code == TR_OK) put_lenses(report, doc);
    put_photos(report, doc);
    put_files(report, doc);
}

/* ---- Free areas ---- */

void tr_report_areas(const tr_report *report, tr_document *doc) {
    const tr_check_result *r = report->result;
    int photos[TR_AREA_PAGE_PHOTOS];
    char text[2048], alternative[512];
    if (r->n_free_areas == 0) return;
    tr_doc_heading(doc, 2, TR_("Free areas"));
    for (int i = 0; i < r->n_free_areas; i++) {
        tr_area_text(r, &r->free_areas[i], text, sizeof text);
        tr_report_sentence(report, doc, TR_DOC_PLAIN, text);
    }
    tr_doc_text(doc, TR_DOC_PLAIN,
                TR_("Someone must check by eye whether anything stands there: this program does "
                    "not judge it. Solid: in view. Dashed: behind the space itself or a sheet. The "
                    "vehicle hides more than is dashed."));
    int n = tr_area_page_photos(r, 0, photos);
    if (n == 0) return;
    tr_doc_figures(doc);
    for (int i = 0; i < n && i < 2; i++) {
        snprintf(alternative, sizeof alternative,
                 TR_("Photo %s with the free areas drawn into it."), r->photos[photos[i]].name);
        tr_doc_figure_add(doc, TR_FIGURE_AREA, -1, photos[i],
                          (tr_box){n > 1 ? 0.505 * i : 0.2, 0, n > 1 ? 0.495 : 0.6, 440}, "",
                          alternative);
    }
}
