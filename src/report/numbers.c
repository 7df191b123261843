/* The targets and what is between them: numbers, verdicts, drawings, and what u95 is made of. */
#include <stdio.h>
#include <stdlib.h>

#include "base/language.h"
#include "present/moves.h"
#include "present/words.h"
#include "report/content.h"

/* ---- One target ---- */

static void put_axis(const tr_report *report, tr_document *doc, tr_axis axis,
                     const tr_axis_result *r) {
    tr_axis_cells cells;
    char title[64];
    tr_axis_cells_in(report->unit, axis, r, &cells);
    tr_report_axis_title(report, axis, title, sizeof title);
    tr_doc_cell_text(doc, title);
    tr_doc_cell_number(doc, cells.required);
    tr_doc_cell_number(doc, r->is_measured ? cells.measured : "–");
    char error[TR_MINUS_SIZE];
    tr_cell_with_minus(cells.error, error);
    tr_doc_cell_strong(doc, error);
    tr_doc_cell_text(doc, cells.u95);
    tr_doc_cell_text(doc, cells.limit);
    if (r->is_judged) {
        tr_doc_cell_verdict(doc, r->verdict);
    } else {
        tr_doc_cell_text(doc, "");
    }
}

/* Axes for which nothing is required are told where they were measured. */
static void put_axes(const tr_report *report, tr_document *doc,
                     const tr_axis_result axis[TR_N_AXES]) {
    const char *const heads[] = {TR_("axis"), TR_("required"), TR_("measured"), TR_("error"),
                                 TR_("u95"),  TR_("limit"),    TR_("verdict")};
    tr_doc_table(doc, "tnnnnnt");
    tr_doc_head(doc, heads, 7);
    for (tr_axis k = 0; k < TR_N_AXES; k++) {
        if (axis[k].is_required || axis[k].is_measured) put_axis(report, doc, k, &axis[k]);
    }
}

static void put_ground(const tr_report *report, tr_document *doc, const tr_target_result *t) {
    const tr_sheet_result *sheet = &report->result->sheets[t->sheet];
    char from[256], text[512];
    tr_origins_text(t->from, from, sizeof from);
    bool is_one_photo = sheet->n_photos == 1;
    if (!sheet->is_placed) {
        tr_target_not_measured(report->result, text, sizeof text);
    } else if (t->by == TR_BY_POINTERS) {
        snprintf(text, sizeof text, TR_("Distances from %s; measured by its pointers."), from);
    } else if (t->by == TR_BY_ARTWORK) {
        snprintf(
            text, sizeof text,
            is_one_photo
                ? TR_("Distances from %s; measured from %d marks of its pattern in %d photo.")
                : TR_("Distances from %s; measured from %d marks of its pattern in %d photos."),
            from, sheet->n_marks, sheet->n_photos);
    } else {
        snprintf(text, sizeof text,
                 is_one_photo ? TR_("Distances from %s; measured from %d marks in %d photo.")
                              : TR_("Distances from %s; measured from %d marks in %d photos."),
                 from, sheet->n_marks, sheet->n_photos);
    }
    tr_doc_text(doc, TR_DOC_PLAIN, text);
}

static void put_moves(const tr_report *report, tr_document *doc, int target) {
    const tr_target_result *t = &report->result->targets[target];
    char moves[TR_MOVES_SIZE], text[TR_MOVES_SIZE + 8];
    if (!tr_target_needs_move(t)) return;
    tr_target_moves_text(report->result, t, moves);
    snprintf(text, sizeof text, "► %s", moves);
    tr_report_sentence(report, doc, TR_DOC_STRONG, text);
}

/* What the photo and the plan show, for who cannot see them. */
static void describe(const tr_check_result *r, int target, char *photo, char *plan, size_t size) {
    const tr_target_result *t = &r->targets[target];
    const char *id = r->sheets[t->sheet].id;
    if (t->photo < 0) {
        snprintf(photo, size, TR_("No photo shows %s."), id);
    } else {
        snprintf(photo, size,
                 TR_("Photo %s with %s: the outline that is required, the one that was measured, "
                     "and the marks that were found."),
                 r->photos[t->photo].name, id);
    }
    snprintf(plan, size,
             TR_("The vehicle from above with %s where it should be and where it was measured; the "
                 "numbers are those of the table."),
             id);
}

static void put_figures(const tr_report *report, tr_document *doc, int target) {
    const tr_check_result *r = report->result;
    bool is_alone = r->n_targets == 1;
    bool is_placed = r->sheets[r->targets[target].sheet].is_placed;
    char photo[512], plan[512], detail[512], caption[256] = "";
    describe(r, target, photo, plan, sizeof photo);
    snprintf(detail, sizeof detail, TR_("%s near by, its error enlarged, with limits and u95."),
             r->sheets[r->targets[target].sheet].id);
    if (r->targets[target].photo >= 0) {
        snprintf(caption, sizeof caption,
                 is_placed ? TR_("%s · dashed: required · solid: measured")
                           : TR_("%s · dashed: required"),
                 r->photos[r->targets[target].photo].name);
    }
    tr_doc_figures(doc);
    tr_doc_figure_add(doc, TR_FIGURE_PHOTO, target, r->targets[target].photo,
                      is_alone ? (tr_box){0, 0, 0.53, 350} : (tr_box){0, 0, 0.5, 290}, caption,
                      photo);
    if (is_alone) {
        tr_doc_figure_add(doc, TR_FIGURE_DETAIL, target, -1, (tr_box){0, 385, 0.53, 285}, "",
                          detail);
        tr_doc_figure_add(doc, TR_FIGURE_PLAN, target, -1, (tr_box){0.55, 0, 0.45, 670}, "", plan);
    } else {
        tr_doc_figure_add(doc, TR_FIGURE_DETAIL, target, -1, (tr_box){0.54, 0, 0.46, 314}, "",
                          detail);
    }
}

static void put_target(const tr_report *report, tr_document *doc, int target) {
    const tr_check_result *r = report->result;
    const tr_target_result *t = &r->targets[target];
    const tr_sheet_result *sheet = &r->sheets[t->sheet];
    char head[512];
    if (r->n_targets > 1) {
        snprintf(head, sizeof head, TR_("%d. %s: %s · %s %s"), target + 1, sheet->id, sheet->title,
                 tr_verdict_shape(t->verdict), tr_verdict_word(t->verdict));
    } else {
        snprintf(head, sizeof head, "%s: %s", sheet->id, sheet->title);
    }
    tr_doc_heading(doc, 2, head);
    put_moves(report, doc, target);
    put_axes(report, doc, t->axis);
    put_ground(report, doc, t);
    put_figures(report, doc, target);
}

/* ---- Several ---- */

/* The judged axes that are no pass, with their numbers, or what else is the reason; "" of a pass.
 */
static void put_why(const tr_report *report, tr_document *doc, bool is_measured,
                    const tr_axis_result axis[TR_N_AXES], tr_verdict verdict) {
    char text[1024] = "";
    size_t n = 0;
    for (tr_axis k = 0; k < TR_N_AXES && is_measured; k++) {
        const tr_axis_result *r = &axis[k];
        tr_axis_cells cells;
        char error[TR_MINUS_SIZE];
        if (!r->is_judged || !r->is_measured || r->verdict == TR_PASS) continue;
        tr_axis_cells_in(report->unit, k, r, &cells);
        tr_cell_with_minus(cells.error, error);
        n += (size_t)snprintf(text + n, sizeof text - n, TR_("%s%s %s %s, limit %s %s"),
                              n ? "; " : "", tr_axis_title(k), error, cells.u95, cells.limit,
                              tr_axis_unit_in(report->unit, k));
    }
    if (!is_measured) {
        tr_doc_cell_text(doc, TR_("not measured"));
    } else {
        tr_doc_cell_text(doc, n == 0 ? tr_rest_why(axis, verdict) : text);
    }
}

static void put_summary(const tr_report *report, tr_document *doc) {
    const tr_check_result *r = report->result;
    const char *const heads[] = {TR_("no."), TR_("target"), TR_("verdict"), TR_("why")};
    char text[1024], number[32];
    snprintf(text, sizeof text, TR_("%d targets"), r->n_targets);
    tr_doc_heading(doc, 2, text);
    tr_doc_table(doc, "nttt");
    tr_doc_head(doc, heads, 4);
    for (int i = 0; i < r->n_targets; i++) {
        const tr_target_result *t = &r->targets[i];
        snprintf(number, sizeof number, "%d", i + 1);
        tr_doc_cell_text(doc, number);
        tr_doc_cell_text(doc, r->sheets[t->sheet].id);
        tr_doc_cell_verdict(doc, t->verdict);
        put_why(report, doc, r->sheets[t->sheet].is_placed, t->axis, t->verdict);
    }
    for (int i = 0; i < r->n_relations; i++) {
        const tr_relation_result *rel = &r->relations[i];
        tr_relation_letter(i, number);
        tr_doc_cell_text(doc, number);
        snprintf(text, sizeof text, TR_("from %s to %s"),
                 r->sheets[r->targets[rel->targets[0]].sheet].id,
                 r->sheets[r->targets[rel->targets[1]].sheet].id);
        tr_doc_cell_text(doc, text);
        tr_doc_cell_verdict(doc, rel->verdict);
        put_why(report, doc, rel->axis[TR_X].is_measured, rel->axis, rel->verdict);
    }
    tr_doc_figures(doc);
    tr_doc_figure_add(doc, TR_FIGURE_ALL, -1, -1, (tr_box){0.1, 0, 0.8, 600},
                      r->n_relations > 0
                          ? TR_("Dashed: required. Solid: measured. Numbers and letters as in the "
                                "list.")
                          : TR_("Dashed: required. Solid: measured. Numbers as in the list."),
                      TR_("The vehicle from above with all targets where they should be and where "
                          "they were measured."));
}

static void put_relation(const tr_report *report, tr_document *doc, int relation) {
    const tr_check_result *r = report->result;
    const tr_relation_result *rel = &r->relations[relation];
    char head[256], letter[16];
    tr_relation_letter(relation, letter);
    snprintf(head, sizeof head, TR_("%s. From %s to %s · %s %s"), letter,
             r->sheets[r->targets[rel->targets[0]].sheet].id,
             r->sheets[r->targets[rel->targets[1]].sheet].id, tr_verdict_shape(rel->verdict),
             tr_verdict_word(rel->verdict));
    tr_doc_heading(doc, 2, head);
    put_axes(report, doc, rel->axis);
}

void tr_report_targets(const tr_report *report, tr_document *doc) {
    const tr_check_result *r = report->result;
    if (r->n_targets > 1) put_summary(report, doc);
    for (int i = 0; i < r->n_targets; i++) put_target(report, doc, i);
    for (int i = 0; i < r->n_relations; i++) put_relation(report, doc, i);
}

/* ---- What u95 is made of ---- */

static void put_budget_row(const tr_report *report, tr_document *doc, const char *target,
                           tr_axis axis, const tr_axis_result *r, const bool *is_shown) {
    char title[160], name[64], number[TR_CELL_SIZE], cell[TR_CELL_SIZE + 4];
    tr_report_axis_title(report, axis, name, sizeof name);
    snprintf(title, sizeof title, "%s%s%s", target, *target ? " " : "", name);
    tr_doc_cell_text(doc, title);
    for (int source = 0; source < TR_N_SOURCES; source++) {
        if (!is_shown[source]) continue;
        tr_number_cell_in(report->unit, axis, r->u95_of[source], number);
        snprintf(cell, sizeof cell, "±%s", number);
        tr_doc_cell_text(doc, strtod(number, NULL) == 0.0 ? "–" : cell);
    }
    tr_axis_cells cells;
    tr_axis_cells_in(report->unit, axis, r, &cells);
    tr_doc_cell_strong(doc, cells.u95);
}

static bool is_in_budget(const tr_axis_result *r) {
    return r->is_judged && r->is_measured;
}

void tr_report_budget(const tr_report *report, tr_document *doc) {
    const tr_check_result *r = report->result;
    const char *const names[TR_N_SOURCES] = {TR_("marks"), TR_("lens"),
                                             r->has_wheels ? TR_("hub sheets") : TR_("plates"),
                                             TR_("sheets"), TR_("pointers")};
    bool is_shown[TR_N_SOURCES] = {true, true, true};
    bool has_any = false;
    char columns[TR_DOC_MAX_COLUMNS + 1] = "t";
    int n = 1;
    for (int i = 0; i < r->n_targets; i++) {
        for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
            const tr_axis_result *a = &r->targets[i].axis[axis];
            has_any = has_any || is_in_budget(a);
            for (int k = TR_FROM_SHEETS; k < TR_N_SOURCES; k++) {
                is_shown[k] = is_shown[k] || (is_in_budget(a) && a->u95_of[k] > 0);
            }
        }
    }
    if (!has_any) return;
    for (int k = 0; k < TR_N_SOURCES; k++) {
        if (is_shown[k]) columns[n++] = 'n';
    }
    columns[n++] = 'n';
    columns[n] = 0;
    tr_doc_heading(doc, 2, TR_("What the uncertainty is made of (k = 2)"));
    tr_doc_table(doc, columns);
    tr_doc_cell_text(doc, TR_("u95 from"));
    for (int k = 0; k < TR_N_SOURCES; k++) {
        if (is_shown[k]) tr_doc_cell_text(doc, names[k]);
    }
    tr_doc_cell_text(doc, TR_("all together"));
    for (int i = 0; i < r->n_targets; i++) {
        const char *target = r->n_targets > 1 ? r->sheets[r->targets[i].sheet].id : "";
        for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
            const tr_axis_result *a = &r->targets[i].axis[axis];
            if (is_in_budget(a)) put_budget_row(report, doc, target, axis, a, is_shown);
        }
    }
}
