/* What had to be so before anything was measured, and who confirmed it. */
#include "base/language.h"
#include "report/content.h"

static const char *state_of(const tr_precondition_result *c) {
    switch (c->state) {
    case TR_CONFIRMED: return TR_("confirmed");
    case TR_NOT_CONFIRMED: return c->is_required ? TR_("NOT CONFIRMED") : TR_("not confirmed");
    case TR_NOT_DONE: break;
    }
    return c->is_required ? TR_("NOT DONE") : TR_("not done");
}

void tr_report_preconditions(const tr_report *report, tr_document *doc) {
    const tr_check_result *r = report->result;
    const char *const heads[] = {TR_("precondition"), TR_("mandatory"), TR_("confirmation"),
                                 TR_("by"),           TR_("when"),      TR_("reason")};
    char at[TR_SHOWN_TIME_SIZE];
    if (r->n_preconditions == 0) return;
    tr_doc_heading(doc, 2, TR_("Before measuring"));
    tr_doc_table(doc, "tttttt");
    tr_doc_head(doc, heads, 6);
    for (int i = 0; i < r->n_preconditions; i++) {
        const tr_precondition_result *c = &r->preconditions[i];
        bool is_missing = c->is_required && c->state != TR_CONFIRMED;
        tr_doc_cell_text(doc, c->text);
        tr_doc_cell_text(doc, c->is_required ? TR_("yes") : TR_("no"));
        if (is_missing) {
            tr_doc_cell_strong(doc, state_of(c));
        } else {
            tr_doc_cell_text(doc, state_of(c));
        }
        tr_doc_cell_text(doc, c->by);
        tr_report_time(c->at, at);
        tr_doc_cell_text(doc, at);
        tr_doc_cell_text(doc, c->reason);
    }
}
