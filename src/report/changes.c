/* Before and after: what an earlier check of the same job found, and what was moved since. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/language.h"
#include "present/words.h"
#include "report/content.h"

bool tr_report_is_comparable(const tr_check_result *before, const tr_check_result *result,
                             tr_error *err) {
    if (before->why.code != TR_OK)
        return tr_fail(err, TR_BAD_INPUT, "the earlier check has no measurement to compare with");
    if (result->why.code != TR_OK)
        return tr_fail(err, TR_BAD_INPUT,
                       "there is no measurement to compare the earlier one with");
    if (strcmp(before->job, result->job) != 0) {
        return tr_fail(err, TR_BAD_INPUT, "the earlier check is of job %s, not of job %s",
                       before->job, result->job);
    }
    if (strcmp(before->layout, result->layout) != 0) {
        return tr_fail(err, TR_BAD_INPUT, "the earlier check is of layout %s, not of layout %s",
                       before->layout, result->layout);
    }
    return true;
}

static const tr_target_result *same_target(const tr_check_result *in, const char *sheet) {
    for (int i = 0; i < in->n_targets; i++) {
        if (strcmp(in->sheets[in->targets[i].sheet].id, sheet) == 0) return &in->targets[i];
    }
    return NULL;
}

/* How far the sheet was moved: mm or rad, the shorter way round. The two measurements are taken for
   independent (JCGM 100:2008, 5.1.2), which is on the safe side: what both have in common, such as
   the lens, moves neither. */
static tr_quantity move_of(tr_axis axis, const tr_axis_result *a, const tr_axis_result *b) {
    tr_quantity q = {.is_measured = a->is_measured && b->is_measured};
    if (!q.is_measured) return q;
    q.value = b->measured - a->measured;
    if (tr_axis_is_angle(axis)) q.value = remainder(q.value, 2 * TR_PI);
    q.u95 = hypot(a->u95, b->u95);
    return q;
}

/* Error and u95 as they stand in the row of the one report, or the value where none is required. */
static void put_error(const tr_report *report, tr_document *doc, tr_axis axis,
                      const tr_axis_result *r) {
    tr_axis_cells cells;
    char value[TR_MINUS_SIZE], cell[128];
    tr_axis_cells_in(report->unit, axis, r, &cells);
    tr_cell_with_minus(r->is_required ? cells.error : cells.measured, value);
    if (r->is_measured) {
        snprintf(cell, sizeof cell, "%s %s", value, cells.u95);
    } else {
        snprintf(cell, sizeof cell, "–");
    }
    tr_doc_cell_text(doc, cell);
}

static void put_verdict(tr_document *doc, const tr_axis_result *r) {
    if (r->is_judged) {
        tr_doc_cell_verdict(doc, r->verdict);
    } else {
        tr_doc_cell_text(doc, "");
    }
}

static void put_rows(const tr_report *report, tr_document *doc, const char *name,
                     const tr_axis_result before[TR_N_AXES],
                     const tr_axis_result after[TR_N_AXES]) {
    for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
        char title[160], axis_title[64], cell[TR_PAIR_SIZE], signed_cell[TR_PAIR_SIZE + 1];
        if (!after[axis].is_required) continue;
        tr_quantity moved = move_of(axis, &before[axis], &after[axis]);
        tr_report_axis_title(report, axis, axis_title, sizeof axis_title);
        snprintf(title, sizeof title, "%s %s", name, axis_title);
        tr_report_pair(report, axis, &moved, cell);
        snprintf(signed_cell, sizeof signed_cell, "%s%s",
                 moved.is_measured && *cell >= '0' && *cell <= '9' ? "+" : "", cell);
        tr_doc_cell_text(doc, title);
        put_error(report, doc, axis, &before[axis]);
        put_verdict(doc, &before[axis]);
        put_error(report, doc, axis, &after[axis]);
        put_verdict(doc, &after[axis]);
        tr_doc_cell_strong(doc, signed_cell);
    }
}

static void put_which(const tr_report *report, tr_document *doc) {
    const tr_check_result *before = report->before;
    char text[512], kept[TR_SHOWN_TIME_SIZE];
    if (report->record_before.number > 0) {
        tr_report_time(tr_or_empty(report->record_before.made_at), kept);
        snprintf(text, sizeof text, TR_("The earlier check is record %ld, kept %s. Result: %s."),
                 report->record_before.number, kept, tr_verdict_word(before->verdict));
    } else {
        snprintf(text, sizeof text, TR_("The earlier check of this job said: %s."),
                 tr_verdict_word(before->verdict));
    }
    tr_doc_text(doc, TR_DOC_PLAIN, text);
}

void tr_report_changes(const tr_report *report, tr_document *doc) {
    const tr_check_result *r = report->result;
    const tr_check_result *before = report->before;
    const char *const heads[] = {TR_("axis"),      TR_("error before"), TR_("before"),
                                 TR_("error now"), TR_("now"),          TR_("moved by")};
    if (!before || before->why.code != TR_OK) return;
    tr_doc_heading(doc, 2, TR_("Before and after"));
    put_which(report, doc);
    tr_doc_table(doc, "tntntn");
    tr_doc_head(doc, heads, 6);
    for (int i = 0; i < r->n_targets; i++) {
        const char *id = r->sheets[r->targets[i].sheet].id;
        const tr_target_result *t = same_target(before, id);
        if (t) put_rows(report, doc, id, t->axis, r->targets[i].axis);
    }
    tr_doc_text(doc, TR_DOC_SMALL,
                TR_("Moved by: measured now minus measured before, along the axes of the vehicle; "
                    "its u95 is that of both measurements together."));
}
