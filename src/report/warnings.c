/* What a person should know of a check. */
#include <stdio.h>
#include <string.h>

#include "base/language.h"
#include "job/vin.h"
#include "present/catalogue.h"
#include "report/content.h"

/* Said where the photos are. */
static bool is_about_unused_photo(const tr_finding *finding) {
    return finding->kind == TR_FOUND_PHOTO_NOT_USED || finding->kind == TR_FOUND_PHOTO_SIZE;
}

/* Told among the others, not below the verdict. */
static bool is_other(const tr_finding *finding) {
    return !is_about_unused_photo(finding) && !tr_finding_blocks_pass(finding->kind);
}

static void put_finding(const tr_report *report, tr_document *doc, const tr_finding *finding) {
    char text[TR_FINDING_TEXT_SIZE];
    tr_finding_text(finding, text);
    tr_report_sentence(report, doc, TR_DOC_WARNING, text);
}

void tr_report_blocking(const tr_report *report, tr_document *doc) {
    const tr_findings *found = &report->result->findings;
    for (int i = 0; i < found->n; i++) {
        if (tr_finding_blocks_pass(found->items[i].kind))
            put_finding(report, doc, &found->items[i]);
    }
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

/* A measurement looks at the number itself, and then it is among what was found. */
static bool is_vin_doubtful(const tr_check_result *r) {
    return r->why.code != TR_OK && *r->vehicle_id && tr_vin_check(r->vehicle_id) != TR_VIN_OK;
}

int tr_report_n_warnings(const tr_report *report) {
    const tr_check_result *r = report->result;
    int n = is_vin_doubtful(r);
    for (int i = 0; i < r->findings.n; i++) n += is_other(&r->findings.items[i]);
    for (int i = 0; i < r->n_photos; i++) n += has_reason(&r->photos[i]);
    return n;
}

static void put_doubtful_vin(const tr_report *report, tr_document *doc) {
    char text[512];
    snprintf(text, sizeof text,
             TR_("The VIN %s is not well formed, or its check digit does not fit. Read it from the "
                 "vehicle again."),
             report->result->vehicle_id);
    tr_doc_text(doc, TR_DOC_WARNING, text);
}

void tr_report_warnings(const tr_report *report, tr_document *doc) {
    const tr_check_result *r = report->result;
    bool has_blocking = tr_findings_block_pass(&r->findings);
    tr_doc_heading(doc, 2, has_blocking ? TR_("Other warnings") : TR_("Warnings"));
    if (tr_report_n_warnings(report) == 0) {
        tr_doc_text(doc, TR_DOC_PLAIN,
                    r->why.code == TR_OK ? TR_("None.")
                                         : TR_("None. Most are found only by a measurement."));
        return;
    }
    if (is_vin_doubtful(r)) put_doubtful_vin(report, doc);
    for (int i = 0; i < r->findings.n; i++) {
        if (is_other(&r->findings.items[i])) put_finding(report, doc, &r->findings.items[i]);
    }
    for (int i = 0; i < r->n_photos; i++) put_photo(report, doc, &r->photos[r->order[i]]);
}
