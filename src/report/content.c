#include "report/content.h"

#include <stdio.h>
#include <string.h>

#include "base/language.h"
#include "present/catalogue.h"
#include "present/cautions.h"
#include "present/moves.h"
#include "present/picture_pages.h"
#include "present/words.h"

/* ---- Words ---- */

const char *tr_or_empty(const char *text) {
    return text ? text : "";
}

void tr_report_pair(const tr_report *report, tr_axis axis, const tr_quantity *q,
                    char out[TR_PAIR_SIZE]) {
    char value[TR_CELL_SIZE], shown[TR_MINUS_SIZE], u95[TR_CELL_SIZE];
    if (!q->is_measured) {
        snprintf(out, TR_PAIR_SIZE, "–");
        return;
    }
    tr_number_cell_in(report->unit, axis, q->value, value);
    tr_u95_cell_in(report->unit, axis, q->u95, u95);
    tr_cell_with_minus(value, shown);
    snprintf(out, TR_PAIR_SIZE, "%s %s", shown, u95);
}

void tr_doc_cell_number(tr_document *doc, const char *cell) {
    char shown[TR_MINUS_SIZE];
    tr_cell_with_minus(cell, shown);
    tr_doc_cell_text(doc, shown);
}

void tr_report_sentence(const tr_report *report, tr_document *doc, tr_doc_style style,
                        const char *sentence) {
    char text[2048];
    tr_sentence_in(report->unit, sentence, text, sizeof text);
    tr_doc_text(doc, style, text);
}

void tr_report_with_unit(const tr_report *report, const char *title, tr_axis axis, char *out,
                         size_t size) {
    snprintf(out, size, "%s, %s", title, tr_axis_unit_in(report->unit, axis));
}

void tr_report_axis_title(const tr_report *report, tr_axis axis, char *out, size_t size) {
    tr_report_with_unit(report, tr_axis_title(axis), axis, out, size);
}

/* ---- Head and foot ---- */

void tr_report_title(const tr_report *report, char *out, size_t size) {
    if (report->result->has_job)
        snprintf(out, size, TR_("Placement check: job %s"), report->result->job);
    else
        snprintf(out, size, "%s", TR_("Placement check"));
}

void tr_report_full_title(const tr_report *report, char *out, size_t size) {
    const tr_check_result *r = report->result;
    if (r->has_job && *r->vehicle_id)
        snprintf(out, size, TR_("Placement check: job %s, %s"), r->job, r->vehicle_id);
    else
        tr_report_title(report, out, size);
}

void tr_report_foot(const tr_report *report, char *out, size_t size) {
    const tr_check_result *r = report->result;
    char mark[TR_CHECK_MARK_SIZE];
    tr_check_mark(r, mark);
    if (report->record.number > 0) {
        snprintf(out, size, TR_("Job %s · record %ld · %.16s"), r->job, report->record.number,
                 tr_or_empty(report->record.hash));
    } else {
        snprintf(out, size, TR_("Job %s · check %s · not kept: this is no record"), r->job, mark);
    }
}

/* The times of the first and of the last photo that say theirs. */
static void photos_taken(const tr_check_result *r, char *out, size_t size) {
    const char *first = "";
    const char *last = "";
    for (int i = 0; i < r->n_photos; i++) {
        const char *taken = r->photos[i].taken;
        if (!r->photos[i].is_used || !*taken) continue;
        if (!*first || strcmp(taken, first) < 0) first = taken;
        if (!*last || strcmp(taken, last) > 0) last = taken;
    }
    char shown[2][TR_SHOWN_TIME_SIZE];
    tr_report_time(first, shown[0]);
    tr_report_time(last, shown[1]);
    if (strcmp(shown[0], shown[1]) == 0) {
        snprintf(out, size, "%s", shown[0]);
    } else {
        snprintf(out, size, TR_("%s to %s"), shown[0], shown[1]);
    }
}

static void put_facts(const tr_report *report, tr_document *doc) {
    const tr_check_result *r = report->result;
    const char *technician = tr_or_empty(report->technician);
    char text[512];
    tr_doc_terms(doc);
    if (r->has_job) {
        tr_doc_term(doc, TR_("Job"), r->job);
        tr_doc_term(doc, TR_("Layout"), r->layout);
        tr_doc_term(doc, TR_("Vehicle"), r->vehicle);
        tr_doc_term(doc, TR_("Vehicle identification"), r->vehicle_id);
        tr_doc_term(doc, TR_("Technician"), *technician ? technician : r->technician);
    }
    tr_doc_term(doc, TR_("Shop"), tr_or_empty(report->shop));
    photos_taken(r, text, sizeof text);
    tr_doc_term(doc, TR_("Photos taken"), text);
    tr_doc_term(doc, TR_("Program"), tr_or_empty(report->program));
    if (report->record.number > 0) {
        snprintf(text, sizeof text, "%ld", report->record.number);
        tr_doc_term(doc, TR_("Record"), text);
        tr_report_time(tr_or_empty(report->record.made_at), text);
        tr_doc_term(doc, TR_("Kept"), text);
    } else {
        tr_doc_term(doc, TR_("Record"), TR_("not kept: this is no record"));
    }
}

/* ---- Why ---- */

/* A sentence begins with a capital; a file's name stays as it is. */
static void capitalise(const tr_error *why, char *text) {
    if (!*why->file && !*why->key && *text >= 'a' && *text <= 'z')
        *text = (char)(*text - 'a' + 'A');
}

static void put_why(const tr_report *report, tr_document *doc) {
    const tr_check_result *r = report->result;
    char text[1024];
    if (r->why.code != TR_OK) {
        tr_check_why_text(r, text, sizeof text);
        capitalise(&r->why, text);
        tr_report_sentence(report, doc, TR_DOC_STRONG, text);
        tr_report_blocking(report, doc);
        tr_doc_text(doc, TR_DOC_PLAIN,
                    TR_("Nothing was measured. This report is no proof of any placement."));
        return;
    }
    tr_check_why(r, text, sizeof text);
    tr_report_sentence(report, doc, TR_DOC_STRONG, text);
    tr_report_blocking(report, doc);
    int n = tr_report_n_warnings(report);
    if (r->verdict != TR_PASS || n == 0) return;
    if (n == 1)
        snprintf(text, sizeof text, "%s", TR_("With a warning, see below."));
    else
        snprintf(text, sizeof text, TR_("With %d warnings, see below."), n);
    tr_doc_text(doc, TR_DOC_PLAIN, text);
}

/* ---- The end ---- */

static void put_record(const tr_report *report, tr_document *doc) {
    const tr_report_record *record = &report->record;
    char text[256];
    tr_doc_heading(doc, 2, TR_("Record"));
    if (record->number > 0) {
        tr_doc_terms(doc);
        snprintf(text, sizeof text, "%ld", record->number);
        tr_doc_term(doc, TR_("Number"), text);
        tr_report_time(tr_or_empty(record->made_at), text);
        tr_doc_term(doc, TR_("Kept"), text);
        tr_doc_term(doc, TR_("Id"), tr_or_empty(record->id));
        tr_doc_term(doc, TR_("Hash"), tr_or_empty(record->hash));
        tr_doc_text(doc, TR_DOC_SMALL,
                    TR_("Each record holds the hash of the one before it. Whoever keeps this page "
                        "can prove with its hash that the store has neither changed this record "
                        "nor lost one before it (trammel records verify)."));
    } else {
        tr_doc_text(doc, TR_DOC_PLAIN,
                    TR_("Not kept: this is no record. Nothing but this page says what was found."));
    }
}

static void put_signature(tr_document *doc) {
    const char *const titles[] = {TR_("Name"), TR_("Date"), TR_("Signature")};
    tr_doc_signature(doc, titles, 3);
}

void tr_report_content(const tr_report *report, tr_document *doc) {
    const tr_check_result *r = report->result;
    bool is_measured = r->why.code == TR_OK;
    tr_doc_verdict(doc, is_measured ? r->verdict : TR_INCONCLUSIVE,
                   is_measured ? tr_verdict_headline(r->verdict) : TR_("NO MEASUREMENT"));
    put_why(report, doc);
    put_facts(report, doc);
    if (is_measured) {
        tr_report_changes(report, doc);
        tr_report_targets(report, doc);
        tr_report_areas(report, doc);
        tr_report_budget(report, doc);
        tr_report_vehicle(report, doc);
        tr_report_floor(report, doc);
        tr_report_sheets(report, doc);
    }
    tr_report_preconditions(report, doc);
    tr_report_warnings(report, doc);
    tr_report_inputs(report, doc);
    tr_doc_heading(doc, 2, TR_("Cautions"));
    tr_doc_text(doc, TR_DOC_SMALL, tr_cautions());
    put_record(report, doc);
    put_signature(doc);
}
