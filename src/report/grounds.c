/* On what the numbers rest: the vehicle's points and wheels, the floor, the sheets. */
#include <math.h>
#include <stdio.h>

#include "base/language.h"
#include "present/words.h"
#include "report/content.h"

/* ---- The vehicle ---- */

static void put_length(const tr_report *report, tr_document *doc, const char *title,
                       const tr_length_result *length) {
    char text[160], cell[TR_CELL_SIZE] = "";
    tr_report_with_unit(report, title, TR_X, text, sizeof text);
    tr_doc_cell_text(doc, text);
    if (length->is_measured) {
        tr_number_cell_in(report->unit, TR_X, length->measured_mm, cell);
        tr_doc_cell_number(doc, cell);
        tr_u95_cell_in(report->unit, TR_X, length->u95_mm, cell);
        tr_doc_cell_text(doc, cell);
    } else {
        tr_doc_cell_text(doc, "–");
        tr_doc_cell_text(doc, "");
    }
    cell[0] = 0;
    if (length->stated_mm > 0) tr_number_cell_in(report->unit, TR_X, length->stated_mm, cell);
    tr_doc_cell_number(doc, cell);
}

static void put_wheel_row(const tr_report *report, tr_document *doc, const char *title, int value,
                          int step) {
    tr_axis as = tr_vehicle_value_is_angle(value) ? TR_YAW : TR_X;
    char text[160], cell[TR_PAIR_SIZE];
    tr_report_with_unit(report, title, as, text, sizeof text);
    tr_doc_cell_text(doc, text);
    for (int i = 0; i < TR_N_POINTS; i++) {
        tr_report_pair(report, as, &report->result->geometry[value + step * i], cell);
        tr_doc_cell_text(doc, cell);
    }
}

static bool is_rolled(const tr_check_result *r) {
    for (int i = 0; i < TR_N_POINTS; i++) {
        if (r->geometry[TR_RUNOUT + i].is_measured) return true;
    }
    return false;
}

static void put_wheels(const tr_report *report, tr_document *doc) {
    const tr_check_result *r = report->result;
    const char *const heads[] = {TR_("value"), TR_("front left"), TR_("front right"),
                                 TR_("rear left"), TR_("rear right")};
    tr_doc_heading(doc, 2, TR_("Wheels"));
    tr_doc_table(doc, "tnnnn");
    tr_doc_head(doc, heads, 5);
    put_wheel_row(report, doc, TR_("toe"), TR_TOE, 1);
    put_wheel_row(report, doc, TR_("camber"), TR_CAMBER, 1);
    put_wheel_row(report, doc, TR_("centre x"), TR_CENTRE, 3);
    put_wheel_row(report, doc, TR_("centre y"), TR_CENTRE + 1, 3);
    put_wheel_row(report, doc, TR_("centre z"), TR_CENTRE + 2, 3);
    if (is_rolled(r)) {
        put_wheel_row(report, doc, TR_("run-out"), TR_RUNOUT, 1);
        put_wheel_row(report, doc, TR_("run-out"), TR_RUNOUT_TILT, 1);
    }
    tr_doc_text(
        doc, TR_DOC_SMALL,
        is_rolled(r)
            ? TR_("Toe of the rear wheels against the centreline, of the front ones against "
                  "the thrust line. The run-out of the hub sheets was measured by rolling "
                  "the vehicle, and is taken off.")
            : TR_("Toe of the rear wheels against the centreline, of the front ones against "
                  "the thrust line. The vehicle was not rolled: how squarely the hub sheets "
                  "hang is in u95."));
}

static void put_whole(const tr_report *report, tr_document *doc, const char *title, int value) {
    const tr_quantity *q = &report->result->geometry[value];
    tr_axis as = tr_vehicle_value_is_angle(value) ? TR_YAW : TR_X;
    char text[160], cell[TR_CELL_SIZE];
    if (!q->is_measured) return;
    tr_report_with_unit(report, title, as, text, sizeof text);
    tr_doc_cell_text(doc, text);
    tr_number_cell_in(report->unit, as, q->value, cell);
    tr_doc_cell_number(doc, cell);
    tr_u95_cell_in(report->unit, as, q->u95, cell);
    tr_doc_cell_text(doc, cell);
    tr_doc_cell_text(doc, "");
}

/* How well all marks agree, which is the check of everything at once. The marks that were left out
   are in it, and make it large. */
static void put_agreement(const tr_report *report, tr_document *doc) {
    const tr_check_result *r = report->result;
    char text[512], left_out[256];
    if (r->degrees_of_freedom <= 0) return;
    if (r->n_rejected == 1)
        snprintf(left_out, sizeof left_out, "%s",
                 TR_("It is that of all marks, with the one that contradicts the others and was "
                     "left out."));
    else if (r->n_rejected > 1)
        snprintf(
            left_out, sizeof left_out,
            TR_("It is that of all marks, with the %d that contradict the others and were left "
                "out."),
            r->n_rejected);
    else
        snprintf(left_out, sizeof left_out, "%s", TR_("No mark was left out."));
    snprintf(text, sizeof text,
             TR_("How well all marks agree: variance factor %.2f with %d degrees of freedom (1 "
                 "where they scatter as expected). %s"),
             r->variance_factor, r->degrees_of_freedom, left_out);
    tr_doc_text(doc, TR_DOC_PLAIN, text);
}

void tr_report_vehicle(const tr_report *report, tr_document *doc) {
    const tr_check_result *r = report->result;
    const char *const heads[] = {TR_("value"), TR_("measured"), TR_("u95"),
                                 TR_("stated by the layout")};
    tr_doc_heading(doc, 2, TR_("References and cross-checks"));
    tr_doc_table(doc, "tnnn");
    tr_doc_head(doc, heads, 4);
    put_length(report, doc, TR_("wheelbase"), &r->wheelbase);
    put_length(report, doc, TR_("front track"), &r->track_front);
    put_length(report, doc, TR_("rear track"), &r->track_rear);
    if (r->has_wheels) {
        put_whole(report, doc, TR_("thrust angle"), TR_THRUST_ANGLE);
        put_whole(report, doc, TR_("set-back"), TR_SET_BACK);
        put_whole(report, doc, TR_("wheelbase, left side"), TR_WHEELBASE_LEFT);
        put_whole(report, doc, TR_("wheelbase, right side"), TR_WHEELBASE_RIGHT);
    }
    put_agreement(report, doc);
    if (r->has_wheels) put_wheels(report, doc);
}

/* ---- The floor ---- */

static bool has_slopes(const tr_floor_result *floor) {
    for (int i = 0; i < floor->n_places; i++) {
        if (floor->places[i].value[TR_FLOOR_SLOPE].value.is_measured) return true;
    }
    return false;
}

static void put_places(const tr_report *report, tr_document *doc) {
    const tr_floor_result *floor = &report->result->floor;
    static const tr_floor_value SHOWN[] = {TR_FLOOR_HEIGHT, TR_FLOOR_OUT_OF_FLAT, TR_FLOOR_ALONG,
                                           TR_FLOOR_ACROSS, TR_FLOOR_SLOPE};
    enum { N = sizeof SHOWN / sizeof *SHOWN };
    const char *const names[N] = {TR_("height"), TR_("out of flat"), TR_("along"), TR_("across"),
                                  TR_("slope to it")};
    char text[160], cell[TR_PAIR_SIZE];
    tr_doc_table(doc, "tnnnnn");
    tr_doc_cell_text(doc, TR_("at sheet"));
    for (int k = 0; k < N; k++) {
        tr_report_with_unit(report, names[k], tr_floor_value_is_angle(SHOWN[k]) ? TR_YAW : TR_X,
                            text, sizeof text);
        tr_doc_cell_text(doc, text);
    }
    for (int i = 0; i < floor->n_places; i++) {
        tr_doc_cell_text(doc, report->result->sheets[floor->places[i].sheet].id);
        for (int k = 0; k < N; k++) {
            tr_report_pair(report, tr_floor_value_is_angle(SHOWN[k]) ? TR_YAW : TR_X,
                           &floor->places[i].value[SHOWN[k]].value, cell);
            tr_doc_cell_text(doc, cell);
        }
    }
}

static void put_judged(const tr_report *report, tr_document *doc, const char *name,
                       const tr_floor_judged *v, bool is_angle, tr_floor_limit limit) {
    tr_axis axis = is_angle ? TR_YAW : TR_X;
    tr_axis_cells cells;
    char title[256];
    const tr_axis_result as = {.is_judged = v->is_judged,
                               .limit = v->is_judged ? report->result->floor.limit[limit] : 0,
                               .is_measured = v->value.is_measured,
                               .measured = v->value.value,
                               .error = v->value.value,
                               .u95 = v->value.u95};
    if (!v->is_judged && !v->value.is_measured) return;
    tr_axis_cells_in(report->unit, axis, &as, &cells);
    tr_report_with_unit(report, name, axis, title, sizeof title);
    tr_doc_cell_text(doc, title);
    tr_doc_cell_number(doc, v->value.is_measured ? cells.measured : "–");
    tr_doc_cell_text(doc, cells.u95);
    tr_doc_cell_text(doc, cells.limit);
    if (v->is_judged) {
        tr_doc_cell_verdict(doc, v->verdict);
    } else {
        tr_doc_cell_text(doc, "");
    }
}

/* What has a limit, and what was measured against the horizontal. */
static void put_judged_all(const tr_report *report, tr_document *doc) {
    const tr_floor_result *floor = &report->result->floor;
    const char *const heads[] = {TR_("value"), TR_("measured"), TR_("u95"), TR_("limit"),
                                 TR_("verdict")};
    const char *const names[TR_FLOOR_N] = {
        [TR_FLOOR_HEIGHT] = TR_("height"),
        [TR_FLOOR_OUT_OF_FLAT] = TR_("out of flat"),
        [TR_FLOOR_ALONG] = TR_("tilt along"),
        [TR_FLOOR_ACROSS] = TR_("tilt across"),
        [TR_FLOOR_SLOPE] = TR_("slope to it"),
        [TR_FLOOR_LEVEL_ALONG] = TR_("along, against the horizontal"),
        [TR_FLOOR_LEVEL_ACROSS] = TR_("across, against the horizontal"),
        [TR_FLOOR_LEVEL_SLOPE] = TR_("slope to it, against the horizontal"),
    };
    if (!floor->is_judged && !floor->has_level) return;
    tr_doc_table(doc, "tnnnt");
    tr_doc_head(doc, heads, 5);
    for (int k = 0; k < 2 && floor->has_level; k++) {
        put_judged(report, doc,
                   k == 0 ? TR_("where the wheels stand, along, against the horizontal")
                          : TR_("where the wheels stand, across, against the horizontal"),
                   &floor->whole[TR_FLOOR_STAND_ALONG + k], true, TR_LIMIT_LEVEL);
    }
    for (int i = 0; i < floor->n_places; i++) {
        for (tr_floor_value k = 0; k < TR_FLOOR_N; k++) {
            const tr_floor_judged *v = &floor->places[i].value[k];
            char name[256];
            if (!v->is_judged && k < TR_FLOOR_LEVEL_ALONG) continue;
            snprintf(name, sizeof name, "%s: %s", report->result->sheets[floor->places[i].sheet].id,
                     names[k]);
            put_judged(report, doc, name, v, tr_floor_value_is_angle(k), tr_floor_limit_of(k));
        }
    }
}

void tr_report_floor(const tr_report *report, tr_document *doc) {
    const tr_floor_result *floor = &report->result->floor;
    bool is_asked_for = floor->is_judged || floor->has_level;
    if (floor->n_places == 0 || (!is_asked_for && !has_slopes(floor))) return;
    tr_doc_heading(doc, 2, TR_("Floor"));
    put_places(report, doc);
    put_judged_all(report, doc);
    tr_doc_text(doc, TR_DOC_SMALL,
                TR_("Against where the wheels stand, unless it says otherwise. Above 0 the floor "
                    "rises: along towards the front, across towards the left, to a target away "
                    "from the wheels."));
}

/* ---- The sheets ---- */

static void put_sheet(const tr_report *report, tr_document *doc, const tr_sheet_result *sheet) {
    const tr_sheet_condition *c = &sheet->condition;
    const tr_quantity flat = {c->has_flatness, c->flatness_mm, c->flatness_u95_mm};
    char cell[TR_PAIR_SIZE], u95[TR_CELL_SIZE];
    tr_doc_cell_text(doc, sheet->id);
    tr_doc_cell_text(doc, sheet->is_surveyed ? TR_("surveyed") : TR_("as printed"));
    snprintf(cell, sizeof cell, "%d", sheet->n_photos);
    tr_doc_cell_text(doc, cell);
    snprintf(cell, sizeof cell, "%d", sheet->n_marks);
    tr_doc_cell_text(doc, cell);
    tr_report_pair(report, TR_X, &flat, cell);
    tr_doc_cell_text(doc, cell);
    for (int k = 0; k < 2; k++) {
        snprintf(cell, sizeof cell, "–");
        if (c->has_print_scale) {
            tr_u95_rounded(100 * c->print_scale_u95[k], 2, u95);
            snprintf(cell, sizeof cell, "%.2f %s", 100 * (1 + c->print_scale[k]), u95);
        }
        tr_doc_cell_text(doc, cell);
    }
}

void tr_report_sheets(const tr_report *report, tr_document *doc) {
    const tr_check_result *r = report->result;
    char flat[64];
    tr_report_with_unit(report, TR_("flat within"), TR_X, flat, sizeof flat);
    const char *const heads[] = {
        TR_("sheet"), TR_("places of marks"), TR_("photos"),    TR_("marks"),
        flat,         TR_("size across, %"),  TR_("size up, %")};
    tr_doc_heading(doc, 2, TR_("Sheets"));
    tr_doc_table(doc, "ttnnnnn");
    tr_doc_head(doc, heads, 7);
    for (int i = 0; i < r->n_sheets; i++) put_sheet(report, doc, &r->sheets[i]);
}
