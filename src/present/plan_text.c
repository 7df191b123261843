#include "present/plan_text.h"

#include <string.h>

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

void tr_plan_place_words(const tr_plan *plan, tr_vec3 p, char *out, size_t size) {
    static const double LEAST_MM = 50;
    bool is_front = wheelbase_of(plan) > 0 && p.x > wheelbase_of(plan) / 2;
    double x = is_front ? p.x - wheelbase_of(plan) : p.x;
    char along[64], aside[64];
    if (fabs(x) < LEAST_MM) {
        snprintf(along, sizeof along, "at the %s axle", is_front ? "front" : "rear");
    } else {
        snprintf(along, sizeof along, "%.1f m %s the %s axle", fabs(x) / 1000,
                 x > 0 ? "ahead of" : "behind", is_front ? "front" : "rear");
    }
    if (fabs(p.y) < LEAST_MM) {
        snprintf(aside, sizeof aside, "in the middle");
    } else {
        snprintf(aside, sizeof aside, "%.1f m to the %s", fabs(p.y) / 1000,
                 p.y > 0 ? "left" : "right");
    }
    snprintf(out, size, "%s, %s", along, aside);
}

void tr_plan_look_words(const tr_plan *plan, tr_vec3 p, char *out, size_t size) {
    static const double NEAR_MM = 150;
    char place[160];
    for (int i = 0; i < plan->result.n_sheets; i++) {
        const tr_sheet_result *s = &plan->result.sheets[i];
        tr_vec3 d = tr_v3_sub(s->vehicle_from_sheet.t_mm, p);
        if (!s->is_placed || tr_v3_norm(d) > NEAR_MM) continue;
        snprintf(out, size, "%s", s->id);
        return;
    }
    tr_plan_place_words(plan, p, place, sizeof place);
    snprintf(out, size, "the point %s", place);
}

void tr_plan_sheet_words(const tr_plan *plan, tr_sheet_set sees, char *out, size_t size) {
    size_t n = 0;
    if (size > 0) *out = 0;
    for (int i = 0; i < plan->result.n_sheets; i++) {
        if (!(sees >> i & 1)) continue;
        if (n > 0) n = append(out, size, n, ", ");
        n = append(out, size, n, plan->result.sheets[i].id);
    }
    if (n == 0) append(out, size, n, "nothing");
}

static void append_axis(const tr_plan *plan, char *out, size_t size) {
    const tr_plan_worst *w = &plan->worst;
    const tr_check_result *result = &plan->result;
    const tr_axis_result *r = tr_plan_worst_axis(plan);
    char u95[TR_CELL_SIZE], limit[TR_CELL_SIZE], from[80] = "";
    size_t n = strlen(out);
    tr_u95_cell(w->axis, r->u95, u95);
    tr_u95_cell(w->axis, r->limit, limit);
    if (w->relation >= 0) {
        int first = result->relations[w->relation].targets[0];
        snprintf(from, sizeof from, " from %s", result->sheets[result->targets[first].sheet].id);
    }
    if (n < size) {
        snprintf(out + n, size - n, "%s of %s%s: u95 %s %s, %.0f %% of its limit %s.",
                 tr_axis_title(w->axis), result->sheets[result->targets[w->target].sheet].id, from,
                 u95, tr_axis_unit(w->axis), 100 * w->share, limit);
    }
}

void tr_plan_why(const tr_plan_report *report, char *out, size_t size) {
    const tr_plan *plan = report->plan;
    const tr_plan_worst *w = &plan->worst;
    char advice[512];
    if (plan->result.why.code != TR_OK) {
        char text[1024];
        tr_error_print(&plan->result.why, text, sizeof text);
        snprintf(out, size, "Photos from these stations would give no measurement: %s", text);
    } else if (w->target < 0) {
        snprintf(out, size, "The layout judges no axis, so that any u95 is small enough.");
    } else if (!w->is_measured) {
        snprintf(out, size,
                 "%s would not be measured: photos have to show it and the %s at the wheels "
                 "together.",
                 plan->result.sheets[plan->result.targets[w->target].sheet].id,
                 tr_wheel_sheets(&plan->result));
    } else if (plan->reaches_aim) {
        snprintf(out, size, "u95 is at most a third of every limit. Largest part: ");
        append_axis(plan, out, size);
    } else {
        snprintf(out, size, "u95 is more than a third of a limit. Largest part: ");
        append_axis(plan, out, size);
        const tr_axis_result *r = tr_plan_worst_axis(plan);
        tr_source_advice(&plan->result, w->target, tr_largest_source(r), advice, sizeof advice);
        size_t n = strlen(out);
        if (n < size) snprintf(out + n, size - n, " To make it less: %s", advice);
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
    snprintf(head, sizeof head, "Plan for job %s, layout %s, %s", r->job, r->layout, r->vehicle);
    put(out, 0, 4, head);
}

static void put_station(const tr_plan *plan, int i, FILE *out) {
    const tr_planned_photo *p = &plan->photos[i];
    char place[160], look[256], sheets[768], text[1536];
    tr_plan_place_words(plan, p->station.at_mm, place, sizeof place);
    tr_plan_look_words(plan, p->station.look_at_mm, look, sizeof look);
    tr_plan_sheet_words(plan, p->sees, sheets, sizeof sheets);
    snprintf(text, sizeof text, "%s; camera %.1f m high, aimed at %s. It shows %s (%d marks).",
             place, p->station.at_mm.z / 1000, look, sheets, p->n_marks);
    int column = fprintf(out, "  %2d  ", i + 1);
    put(out, column, column, text);
}

static void put_position(const tr_plan *plan, int position, FILE *out) {
    int before = plan->n_positions - 1 - position;
    char text[160];
    if (before == 0) {
        snprintf(text, sizeof text, "In position %d, the last:", position + 1);
    } else if (before == 1) {
        snprintf(
            text, sizeof text,
            "In position %d, the vehicle a quarter turn of its wheels farther back than in the "
            "last:",
            position + 1);
    } else {
        snprintf(text, sizeof text,
                 "In position %d, the vehicle %d quarter turns of its wheels farther back than in "
                 "the last:",
                 position + 1, before);
    }
    put(out, 0, 2, text);
}

static void put_stations(const tr_plan_report *report, FILE *out) {
    const tr_plan *plan = report->plan;
    if (report->now && plan->n_photos == 0) {
        fputs("\nNo further photo would help.\n", out);
        return;
    }
    const char *what = report->now && plan->n_photos == 1 ? "One more photo, from here"
                       : report->now                      ? "Further photos, from here"
                       : report->is_proposed              ? "Stations proposed"
                                                          : "Stations";
    char head[256];
    snprintf(head, sizeof head, "%s (left and right: looking to the vehicle's front%s)", what,
             plan->n_positions > 1 ? "; axles: as it stands in the last position" : "");
    fputc('\n', out);
    put(out, 0, 2, head);
    for (int i = 0; i < plan->n_photos; i++) {
        int position = plan->photos[i].station.position;
        bool is_first = i == 0 || plan->photos[i - 1].station.position != position;
        if (plan->n_positions > 1 && is_first) put_position(plan, position, out);
        put_station(plan, i, out);
    }
}

static void put_cell(FILE *out, const char *text, int width) {
    int pad = width - tr_text_columns(text);
    fprintf(out, "%*s%s", pad > 0 ? pad : 0, "", text);
}

static void put_u95(FILE *out, tr_axis axis, const tr_axis_result *r, bool is_measured) {
    char cell[TR_CELL_SIZE];
    if (is_measured && r->is_measured) tr_u95_cell(axis, r->u95, cell);
    put_cell(out, is_measured && r->is_measured ? cell : "–", 10);
}

/* now: of the check before; NULL: there is none. */
static void put_axis(const tr_plan_report *report, const tr_axis_result *r,
                     const tr_axis_result *now, tr_axis axis, FILE *out) {
    char title[32], cell[TR_CELL_SIZE];
    snprintf(title, sizeof title, "%s, %s", tr_axis_title(axis), tr_axis_unit(axis));
    fprintf(out, "  %s%*s", title, 16 - tr_text_columns(title), "");
    if (now) put_u95(out, axis, now, report->now->why.code == TR_OK);
    put_u95(out, axis, r, report->plan->result.why.code == TR_OK);
    if (r->is_judged) {
        bool is_good = r->is_measured && r->u95 <= TR_PLAN_AIM * r->limit;
        tr_u95_cell(axis, TR_PLAN_AIM * r->limit, cell);
        put_cell(out, cell, 10);
        tr_u95_cell(axis, r->limit, cell);
        put_cell(out, cell, 10);
        fputs(is_good ? "  ✓" : "  more than the aim", out);
    }
    fputc('\n', out);
}

static void put_columns(const tr_plan_report *report, FILE *out) {
    fprintf(out, "                  %s%10s%10s%10s\n", report->now ? "  u95 now" : "",
            report->now ? "with it" : "u95", "aim", "limit");
}

static void put_target(const tr_plan_report *report, int target, FILE *out) {
    const tr_check_result *result = &report->plan->result;
    const tr_target_result *t = &result->targets[target];
    const tr_sheet_result *s = &result->sheets[t->sheet];
    char head[512], from[256];
    tr_origins_text(t->from, from, sizeof from);
    snprintf(head, sizeof head, "%s: %s, from %s; in %d photos", s->id, s->title, from,
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
    snprintf(head, sizeof head, "From %s to %s",
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
    static const char BEFORE[] =
        "These are expectations: for sharp photos with good contrast, all sheets where they are "
        "required and those at the wheels where the layout's wheelbase and tracks put them, an "
        "ordinary car's body in the way, and nothing wrong. Only the check measures.";
    static const char AFTER[] = "This is an expectation: for a sharp photo with good contrast, "
                                "nothing moved since the others, "
                                "and an ordinary car's body in the way. Only the check measures.";
    return report->now ? AFTER : BEFORE;
}

void tr_plan_text(const tr_plan_report *report, FILE *out) {
    const tr_check_result *result = &report->plan->result;
    char why[1536];
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
