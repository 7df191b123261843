#include "present/plan_text.h"

#include <string.h>

#include "base/language.h"
#include "base/text.h"
#include "base/wrap.h"
#include "present/cautions.h"
#include "present/words.h"

/* ---- words ---- */

static size_t append(char *out, size_t size, size_t n, const char *text) {
    if (n < size) n += (size_t)snprintf(out + n, size - n, "%s", text);
    return n;
}

/* X of the front axle; 0 where the layout does not say. */
static double wheelbase_of(const tr_plan *plan) {
    return plan->result.wheelbase.stated_mm;
}

/* Wholes, as a translator needs them: by axle, and by where along. */
enum { AT, AHEAD, BEHIND, N_ALONG };
static const char *const ALONG[2][N_ALONG] = {
    {TR_N("at the rear axle"), TR_N("%.1f m ahead of the rear axle"),
     TR_N("%.1f m behind the rear axle")},
    {TR_N("at the front axle"), TR_N("%.1f m ahead of the front axle"),
     TR_N("%.1f m behind the front axle")}};

void tr_plan_place_words(const tr_plan *plan, tr_vec3 p, char *out, size_t size) {
    static const double LEAST_MM = 50;
    bool is_front = wheelbase_of(plan) > 0 && p.x > wheelbase_of(plan) / 2;
    double x = is_front ? p.x - wheelbase_of(plan) : p.x;
    int where = fabs(x) < LEAST_MM ? AT : x > 0 ? AHEAD : BEHIND;
    char along[96], aside[96];
    if (where == AT)
        snprintf(along, sizeof along, "%s", tr_translated(ALONG[is_front][where]));
    else
        snprintf(along, sizeof along, tr_translated(ALONG[is_front][where]), fabs(x) / 1000);
    if (fabs(p.y) < LEAST_MM) {
        snprintf(aside, sizeof aside, "%s", TR_("in the middle"));
    } else {
        snprintf(aside, sizeof aside,
                 p.y > 0 ? TR_("%.1f m to the left") : TR_("%.1f m to the right"),
                 fabs(p.y) / 1000);
    }
    snprintf(out, size, "%s, %s", along, aside);
}

void tr_plan_look_words(const tr_plan *plan, tr_vec3 p, char *out, size_t size) {
    static const double NEAR_MM = 150;
    char place[256];
    for (int i = 0; i < plan->result.n_sheets; i++) {
        const tr_sheet_result *s = &plan->result.sheets[i];
        tr_vec3 d = tr_v3_sub(s->vehicle_from_sheet.t_mm, p);
        if (!s->is_placed || tr_v3_norm(d) > NEAR_MM) continue;
        snprintf(out, size, "%s", s->id);
        return;
    }
    tr_plan_place_words(plan, p, place, sizeof place);
    snprintf(out, size, TR_("the point %s"), place);
}

void tr_plan_sheet_words(const tr_plan *plan, tr_sheet_set sees, char *out, size_t size) {
    size_t n = 0;
    if (size > 0) *out = 0;
    for (int i = 0; i < plan->result.n_sheets; i++) {
        if (!(sees >> i & 1)) continue;
        if (n > 0) n = append(out, size, n, ", ");
        n = append(out, size, n, plan->result.sheets[i].id);
    }
    if (n == 0) append(out, size, n, TR_("nothing"));
}

static void append_axis(const tr_plan *plan, char *out, size_t size) {
    const tr_plan_worst *w = &plan->worst;
    const tr_check_result *result = &plan->result;
    const tr_axis_result *r = tr_plan_worst_axis(plan);
    char u95[TR_CELL_SIZE], limit[TR_CELL_SIZE];
    size_t n = strlen(out);
    if (n >= size) return;
    tr_u95_cell(w->axis, r->u95, u95);
    tr_u95_cell(w->axis, r->limit, limit);
    const char *id = result->sheets[result->targets[w->target].sheet].id;
    const char *unit = tr_axis_unit(w->axis);
    if (w->relation < 0) {
        snprintf(out + n, size - n, TR_("%s of %s: u95 %s %s, %.0f %% of its limit %s."),
                 tr_axis_title(w->axis), id, u95, unit, 100 * w->share, limit);
        return;
    }
    int first = result->relations[w->relation].targets[0];
    snprintf(out + n, size - n, TR_("%s of %s from %s: u95 %s %s, %.0f %% of its limit %s."),
             tr_axis_title(w->axis), id, result->sheets[result->targets[first].sheet].id, u95, unit,
             100 * w->share, limit);
}

void tr_plan_why(const tr_plan_report *report, char *out, size_t size) {
    const tr_plan *plan = report->plan;
    const tr_plan_worst *w = &plan->worst;
    char advice[1024];
    if (plan->result.why.code != TR_OK) {
        char text[1024];
        tr_check_why_text(&plan->result, text, sizeof text);
        snprintf(out, size, TR_("Photos from these stations would give no measurement: %s"), text);
    } else if (w->target < 0) {
        snprintf(out, size, "%s",
                 TR_("The layout judges no axis, so that any u95 is small enough."));
    } else if (!w->is_measured) {
        snprintf(out, size,
                 TR_("%s would not be measured: photos have to show it and the %s at the wheels "
                     "together."),
                 plan->result.sheets[plan->result.targets[w->target].sheet].id,
                 tr_wheel_sheets(&plan->result));
    } else if (plan->reaches_aim) {
        snprintf(out, size, "%s ", TR_("u95 is at most a third of every limit. Largest part:"));
        append_axis(plan, out, size);
    } else {
        snprintf(out, size, "%s ", TR_("u95 is more than a third of a limit. Largest part:"));
        append_axis(plan, out, size);
        const tr_axis_result *r = tr_plan_worst_axis(plan);
        tr_source_advice(&plan->result, w->target, tr_largest_source(r), advice, sizeof advice);
        size_t n = strlen(out);
        if (n + 1 < size) {
            out[n] = ' ';
            snprintf(out + n + 1, size - n - 1, TR_("To make it less: %s"), advice);
        }
    }
}

/* ---- parts ---- */

/* What came from files, without control characters. */
static void put(FILE *out, int column, int indent, const char *text) {
    char shown[2048];
    tr_text_show(text, strlen(text), shown, sizeof shown);
    tr_text_wrap(out, column, indent, shown);
}

static void put_head(const tr_plan_report *report, FILE *out) {
    const tr_check_result *r = &report->plan->result;
    char head[512];
    snprintf(head, sizeof head, TR_("Plan for job %s, layout %s, %s"), r->job, r->layout,
             r->vehicle);
    put(out, 0, 4, head);
}

static void put_station(const tr_plan *plan, int i, FILE *out) {
    const tr_planned_photo *p = &plan->photos[i];
    char place[256], look[384], sheets[768], text[2048];
    tr_plan_place_words(plan, p->station.at_mm, place, sizeof place);
    tr_plan_look_words(plan, p->station.look_at_mm, look, sizeof look);
    tr_plan_sheet_words(plan, p->sees, sheets, sizeof sheets);
    snprintf(text, sizeof text, TR_("%s; camera %.1f m high, aimed at %s. It shows %s (%d marks)."),
             place, p->station.at_mm.z / 1000, look, sheets, p->n_marks);
    int column = fprintf(out, "  %2d  ", i + 1);
    put(out, column, column, text);
}

static void put_position(const tr_plan *plan, int position, FILE *out) {
    int before = plan->n_positions - 1 - position;
    char text[256];
    if (before == 0) {
        snprintf(text, sizeof text, TR_("In position %d, the last:"), position + 1);
    } else if (before == 1) {
        snprintf(
            text, sizeof text,
            TR_("In position %d, the vehicle a quarter turn of its wheels farther back than in the "
                "last:"),
            position + 1);
    } else {
        snprintf(text, sizeof text,
                 TR_("In position %d, the vehicle %d quarter turns of its wheels farther back than "
                     "in the last:"),
                 position + 1, before);
    }
    put(out, 0, 2, text);
}

static void put_stations(const tr_plan_report *report, FILE *out) {
    const tr_plan *plan = report->plan;
    if (report->now && plan->n_photos == 0) {
        fprintf(out, "\n%s\n", TR_("No further photo would help."));
        return;
    }
    const char *what = report->now && plan->n_photos == 1 ? TR_("One more photo, from here")
                       : report->now                      ? TR_("Further photos, from here")
                       : report->is_proposed              ? TR_("Stations proposed")
                                                          : TR_("Stations");
    char head[384];
    snprintf(head, sizeof head,
             plan->n_positions > 1
                 ? TR_("%s (left and right: looking to the vehicle's front; axles: "
                       "as it stands in the last position)")
                 : TR_("%s (left and right: looking to the vehicle's front)"),
             what);
    fputc('\n', out);
    put(out, 0, 2, head);
    for (int i = 0; i < plan->n_photos; i++) {
        int position = plan->photos[i].station.position;
        bool is_first = i == 0 || plan->photos[i - 1].station.position != position;
        if (plan->n_positions > 1 && is_first) put_position(plan, position, out);
        put_station(plan, i, out);
    }
}

enum { NOW, EXPECTED, AIM, LIMIT, N_COLUMNS };

static const char *head_of(const tr_plan_report *report, int column) {
    static const char *const HEADS[N_COLUMNS] = {TR_N("u95 now"), TR_N("u95"), TR_N("aim"),
                                                 TR_N("limit")};
    return column == EXPECTED && report->now ? TR_("with it") : tr_translated(HEADS[column]);
}

static int column_of(const tr_plan_report *report, int column) {
    return tr_text_column(head_of(report, column), column == NOW ? 9 : 10);
}

static void axis_title(tr_axis axis, char title[64]) {
    snprintf(title, 64, "%s, %s", tr_axis_title(axis), tr_axis_unit(axis));
}

static int title_columns(void) {
    int most = 16;
    for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
        char title[64];
        axis_title(axis, title);
        int n = tr_text_columns(title) + 1;
        most = n > most ? n : most;
    }
    return most;
}

static void put_u95(FILE *out, tr_axis axis, const tr_axis_result *r, bool is_measured, int width) {
    char cell[TR_CELL_SIZE];
    if (is_measured && r->is_measured) tr_u95_cell(axis, r->u95, cell);
    tr_text_right(out, is_measured && r->is_measured ? cell : "–", width);
}

/* now: of the check before; NULL: there is none. */
static void put_axis(const tr_plan_report *report, const tr_axis_result *r,
                     const tr_axis_result *now, tr_axis axis, FILE *out) {
    char title[64], cell[TR_CELL_SIZE];
    axis_title(axis, title);
    fputs("  ", out);
    tr_text_left(out, title, title_columns());
    if (now) {
        put_u95(out, axis, now, report->now->why.code == TR_OK, column_of(report, NOW));
    }
    put_u95(out, axis, r, report->plan->result.why.code == TR_OK, column_of(report, EXPECTED));
    if (r->is_judged) {
        bool is_good = r->is_measured && r->u95 <= TR_PLAN_AIM * r->limit;
        tr_u95_cell(axis, TR_PLAN_AIM * r->limit, cell);
        tr_text_right(out, cell, column_of(report, AIM));
        tr_u95_cell(axis, r->limit, cell);
        tr_text_right(out, cell, column_of(report, LIMIT));
        fprintf(out, "  %s", is_good ? "✓" : TR_("more than the aim"));
    }
    fputc('\n', out);
}

static void put_columns(const tr_plan_report *report, FILE *out) {
    tr_text_left(out, "", 2 + title_columns());
    for (int k = report->now ? NOW : EXPECTED; k < N_COLUMNS; k++) {
        tr_text_right(out, head_of(report, k), column_of(report, k));
    }
    fputc('\n', out);
}

static void put_target(const tr_plan_report *report, int target, FILE *out) {
    const tr_check_result *result = &report->plan->result;
    const tr_target_result *t = &result->targets[target];
    const tr_sheet_result *s = &result->sheets[t->sheet];
    char head[512], from[256];
    tr_origins_text(t->from, from, sizeof from);
    snprintf(head, sizeof head, TR_("%s: %s, from %s; in %d photos"), s->id, s->title, from,
             s->n_photos);
    fputc('\n', out);
    put(out, 0, 2, head);
    put_columns(report, out);
    for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
        put_axis(report, &t->axis[axis],
                 report->now ? &report->now->targets[target].axis[axis] : NULL, axis, out);
    }
}

static void put_relation(const tr_plan_report *report, int relation, FILE *out) {
    const tr_check_result *result = &report->plan->result;
    const tr_relation_result *r = &result->relations[relation];
    char head[512];
    snprintf(head, sizeof head, TR_("From %s to %s"),
             result->sheets[result->targets[r->targets[0]].sheet].id,
             result->sheets[result->targets[r->targets[1]].sheet].id);
    fputc('\n', out);
    put(out, 0, 2, head);
    put_columns(report, out);
    for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
        put_axis(report, &r->axis[axis],
                 report->now ? &report->now->relations[relation].axis[axis] : NULL, axis, out);
    }
}

const char *tr_plan_expected(const tr_plan_report *report) {
    static const char BEFORE[] = TR_N(
        "These are expectations: for sharp photos with good contrast, all sheets where they are "
        "required and those at the wheels where the layout's wheelbase and tracks put them, an "
        "ordinary car's body in the way, and nothing wrong. Only the check measures.");
    static const char AFTER[] =
        TR_N("This is an expectation: for a sharp photo with good contrast, "
             "nothing moved since the others, "
             "and an ordinary car's body in the way. Only the check measures.");
    return tr_translated(report->now ? AFTER : BEFORE);
}

void tr_plan_text(const tr_plan_report *report, FILE *out) {
    const tr_check_result *result = &report->plan->result;
    char why[2048];
    put_head(report, out);
    put_stations(report, out);
    for (int i = 0; i < result->n_targets; i++) put_target(report, i, out);
    for (int i = 0; i < result->n_relations; i++) put_relation(report, i, out);
    tr_plan_why(report, why, sizeof why);
    fputc('\n', out);
    put(out, 0, 0, why);
    fputc('\n', out);
    tr_text_wrap(out, 0, 0, tr_plan_expected(report));
    tr_text_wrap(out, 0, 0, tr_cautions_short());
}
