/* What came in: lens profiles, photos, files; and what a person should know of them. */
#include <stdio.h>
#include <string.h>

#include "base/language.h"
#include "present/area_page.h"
#include "present/catalogue.h"
#include "present/free_area.h"
#include "present/words.h"
#include "report/content.h"

/* ---- Lenses ---- */

static void put_lens(tr_document *doc, const tr_report_lens *lens) {
    char size[64] = "–";
    if (lens->width_px > 0)
        snprintf(size, sizeof size, "%d x %d px", lens->width_px, lens->height_px);
    tr_doc_cell_text(doc, *tr_or_empty(lens->name) ? lens->name : TR_("not named in the result"));
    tr_doc_cell_text(doc, size);
    tr_doc_cell_text(doc, *tr_or_empty(lens->calibrated) ? lens->calibrated : TR_("not known"));
    tr_doc_cell_text(doc, *tr_or_empty(lens->confirmed) ? lens->confirmed : TR_("not known"));
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
    const char *const heads[] = {TR_("profile"), TR_("image size"), TR_("calibrated"),
                                 TR_("last confirmed")};
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
    tr_doc_table(doc, "tttt");
    tr_doc_head(doc, heads, 4);
    for (int i = 0; i < report->n_lenses; i++) put_lens(doc, &report->lenses[i]);
    for (int i = 0; i < r->n_photos && report->n_lenses == 0; i++) {
        const tr_photo_result *photo = &r->photos[i];
        const tr_report_lens lens = {
            .name = photo->lens, .width_px = photo->width_px, .height_px = photo->height_px};
        if (is_new_lens(r, i)) put_lens(doc, &lens);
    }
}

/* ---- Photos and files ---- */

static const char *state_of(const tr_photo_result *photo) {
    if (!photo->is_used) return TR_("not used");
    return photo->quality.grade == TR_PHOTO_WEAK ? TR_("weak") : TR_("used");
}

static void put_photos(const tr_report *report, tr_document *doc) {
    enum { FEW = 12 };
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
    if (!doc->is_full) doc->blocks[doc->n - 1].is_folded = r->n_photos > FEW;
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

static void put_files(const tr_report *report, tr_document *doc) {
    const char *const heads[] = {TR_("what"), TR_("file"), TR_("SHA-256")};
    if (report->n_files == 0) return;
    tr_doc_heading(doc, 2, TR_("Files"));
    tr_doc_table(doc, "ttt");
    tr_doc_head(doc, heads, 3);
    for (int i = 0; i < report->n_files; i++) {
        tr_doc_cell_text(doc, tr_or_empty(report->files[i].what));
        tr_doc_cell_text(doc, tr_or_empty(report->files[i].name));
        tr_doc_cell_hash(doc, tr_or_empty(report->files[i].sha256));
    }
}

void tr_report_inputs(const tr_report *report, tr_document *doc) {
    if (report->result->why.code == TR_OK) put_lenses(report, doc);
    put_photos(report, doc);
    put_files(report, doc);
}

/* ---- Warnings ---- */

/* Said where the photos are. */
static bool is_about_unused_photo(const tr_finding *finding) {
    return finding->kind == TR_FOUND_PHOTO_NOT_USED || finding->kind == TR_FOUND_PHOTO_SIZE;
}

static void put_finding(const tr_report *report, tr_document *doc, const tr_finding *finding) {
    char text[TR_FINDING_TEXT_SIZE], sentence[TR_FINDING_TEXT_SIZE + 128];
    tr_finding_text(finding, text);
    if (tr_finding_blocks_pass(finding->kind)) {
        snprintf(sentence, sizeof sentence, TR_("%s (It rules out a pass.)"), text);
    } else {
        snprintf(sentence, sizeof sentence, "%s", text);
    }
    tr_report_sentence(report, doc, TR_DOC_WARNING, sentence);
}

/* Why a photo is not used, or weak. */
static void put_photo(const tr_report *report, tr_document *doc, const tr_photo_result *photo) {
    char reason[TR_FINDING_TEXT_SIZE] = "", text[TR_FINDING_TEXT_SIZE + TR_PHOTO_NAME_SIZE + 8];
    if (!photo->is_used && photo->why_not.n > 0) {
        tr_reason_text(photo->why_not.items, reason);
    } else if (photo->is_used && photo->quality.grade == TR_PHOTO_WEAK) {
        snprintf(reason, sizeof reason, "%s", tr_photo_flaw_text(photo->quality.flaw));
    }
    if (!*reason) return;
    snprintf(text, sizeof text, "%s: %s", photo->name, reason);
    tr_report_sentence(report, doc, TR_DOC_WARNING, text);
}

static bool has_reason(const tr_photo_result *photo) {
    return photo->is_used ? photo->quality.grade == TR_PHOTO_WEAK : photo->why_not.n > 0;
}

void tr_report_warnings(const tr_report *report, tr_document *doc) {
    const tr_check_result *r = report->result;
    bool has_any = false;
    for (int i = 0; i < r->findings.n; i++) {
        has_any = has_any || !is_about_unused_photo(&r->findings.items[i]);
    }
    for (int i = 0; i < r->n_photos; i++) has_any = has_any || has_reason(&r->photos[i]);
    tr_doc_heading(doc, 2, TR_("Warnings"));
    if (!has_any) {
        tr_doc_text(doc, TR_DOC_PLAIN, TR_("None."));
        return;
    }
    for (int i = 0; i < r->findings.n; i++) {
        if (!is_about_unused_photo(&r->findings.items[i]))
            put_finding(report, doc, &r->findings.items[i]);
    }
    for (int i = 0; i < r->n_photos; i++) put_photo(report, doc, &r->photos[r->order[i]]);
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
                TR_("A person has to look whether anything stands there: this program does not "
                    "judge it. Solid: in view. Dashed: behind the space itself or a sheet. The "
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
