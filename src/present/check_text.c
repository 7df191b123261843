#include "present/check_text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/language.h"
#include "base/text.h"
#include "base/wrap.h"
#include "present/moves.h"
#include "present/catalogue.h"
#include "present/cautions.h"
#include "present/free_area.h"
#include "present/words.h"

typedef struct {
    FILE *out;
    bool is_coloured;
} page;

/* A copy that may be shown; cut to 1023 bytes. */
typedef struct {
    char text[1024];
} shown;

static shown show(const char *text) {
    shown s;
    tr_text_show(text, strlen(text), s.text, sizeof s.text);
    return s;
}

/* ---- Colours ---- */

/* Okabe and Ito's blue and vermillion, and a grey, as near as the 256 colours of a terminal come;
   the blue a little lighter, so that it is read on black too. */
static const char *verdict_colour(tr_verdict verdict) {
    return verdict == TR_PASS   ? "\033[1;38;5;33m"
           : verdict == TR_FAIL ? "\033[1;38;5;166m"
                                : "\033[1;38;5;245m";
}

static void put_style(const page *p, const char *sequence) {
    if (p->is_coloured) fputs(sequence, p->out);
}

/* ---- Parts ---- */

static void put_head(const page *p, const tr_check_result *r) {
    char head[1024], by[256] = "";
    int n =
        snprintf(head, sizeof head, TR_("Job %s, layout %s, %s"), r->job, r->layout, r->vehicle);
    if (*r->technician) snprintf(by, sizeof by, TR_("technician %s"), r->technician);
    if (n > 0 && (size_t)n < sizeof head) {
        snprintf(head + n, sizeof head - (size_t)n, "%s%s%s%s", *r->vehicle_id ? ", " : "",
                 r->vehicle_id, *by ? ", " : "", by);
    }
    tr_text_wrap(p->out, 0, 4, show(head).text);
}

/* ---- the table of a target's axes ---- */

enum { REQUIRED, MEASURED, ERROR, U95, LIMIT, N_COLUMNS };
static const char *const COLUMNS[N_COLUMNS] = {TR_N("required"), TR_N("measured"), TR_N("error"),
                                               TR_N("u95"), TR_N("limit")};

static int axis_column(int column) {
    return tr_text_column(tr_translated(COLUMNS[column]), column < U95 ? 10 : 8);
}

static void axis_title(tr_axis axis, char title[64]) {
    snprintf(title, 64, "%s, %s", tr_axis_title(axis), tr_axis_unit(axis));
}

/* The widest title of an axis, and a gap. */
static int title_columns(void) {
    int most = 14;
    for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
        char title[64];
        axis_title(axis, title);
        int n = tr_text_columns(title) + 1;
        most = n > most ? n : most;
    }
    return most;
}

static void put_axis_heads(const page *p) {
    tr_text_left(p->out, "", 2 + title_columns());
    for (int k = 0; k < N_COLUMNS; k++) {
        tr_text_right(p->out, tr_translated(COLUMNS[k]), axis_column(k));
    }
    fputc('\n', p->out);
}

static void put_axis(const page *p, tr_axis axis, const tr_axis_result *r) {
    tr_axis_cells cells;
    tr_axis_cells_of(axis, r, &cells);
    char title[64];
    axis_title(axis, title);
    fputs("  ", p->out);
    tr_text_left(p->out, title, title_columns());
    tr_text_right(p->out, cells.required, axis_column(REQUIRED));
    tr_text_right(p->out, r->is_measured ? cells.measured : "–", axis_column(MEASURED));
    tr_text_right(p->out, cells.error, axis_column(ERROR));
    tr_text_right(p->out, cells.u95, axis_column(U95));
    if (r->is_judged) {
        tr_text_right(p->out, cells.limit, axis_column(LIMIT));
        fputs("  ", p->out);
        put_style(p, verdict_colour(r->verdict));
        fprintf(p->out, "%s %s", tr_verdict_shape(r->verdict), tr_verdict_word(r->verdict));
        put_style(p, "\033[0m");
    }
    fputc('\n', p->out);
}

static const char *source_title(const tr_check_result *result, int source) {
    static const char *const TITLES[TR_N_SOURCES] = {TR_N("marks"), TR_N("lens"), TR_N("plates"),
                                                     TR_N("sheets"), TR_N("pointers")};
    if (source == TR_FROM_PLATES && result->has_wheels) return TR_("hub sheets");
    return tr_translated(TITLES[source]);
}

static int source_column(const tr_check_result *result, int source) {
    return tr_text_column(source_title(result, source), 10);
}

/* What the table's first column is headed with. */
static int budget_title_columns(void) {
    int most = title_columns();
    int n = tr_text_columns(TR_("u95 (k = 2) from"));
    return n - 2 > most ? n - 2 : most;
}

static void put_budget_row(const page *p, const tr_check_result *result, tr_axis axis,
                           const tr_axis_result *r, const bool *is_shown) {
    char title[64], cell[TR_CELL_SIZE + 4];
    axis_title(axis, title);
    fputs("  ", p->out);
    tr_text_left(p->out, title, budget_title_columns());
    for (int source = 0; source < TR_N_SOURCES; source++) {
        char number[TR_CELL_SIZE];
        if (!is_shown[source]) continue;
        tr_number_cell(axis, r->u95_of[source], number);
        snprintf(cell, sizeof cell, "±%s", number);
        tr_text_right(p->out, strtod(number, NULL) == 0.0 ? "–" : cell,
                      source_column(result, source));
    }
    fputc('\n', p->out);
}

/* The last columns are there only where places on sheets or the sizes of prints are uncertain, and
   where pointers tell the place. */
static void put_budget(const page *p, const tr_check_result *result, const tr_target_result *t) {
    bool has_any = false;
    bool is_shown[TR_N_SOURCES] = {true, true, true};
    for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
        for (int k = TR_FROM_SHEETS; k < TR_N_SOURCES; k++) {
            is_shown[k] = is_shown[k] || t->axis[axis].u95_of[k] > 0;
        }
    }
    for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
        const tr_axis_result *r = &t->axis[axis];
        if (!r->is_judged || !r->is_measured) continue;
        if (!has_any) {
            const char *from = TR_("u95 (k = 2) from");
            int rest = 2 + budget_title_columns() - 2 - tr_text_columns(from);
            fprintf(p->out, "\n  %s", from);
            for (int k = 0; k < TR_N_SOURCES; k++) {
                if (!is_shown[k]) continue;
                tr_text_right(p->out, source_title(result, k),
                              source_column(result, k) + (k == 0 ? rest : 0));
            }
            fputc('\n', p->out);
        }
        has_any = true;
        put_budget_row(p, result, axis, r, is_shown);
    }
}

static bool is_uncertain(const tr_axis_result *r) {
    return r->is_judged && r->is_measured && r->verdict == TR_INCONCLUSIVE;
}

/* How large u95 may be for the error that was measured; not above 0 where no u95 makes it a pass.
 */
static double room_for_u95(const tr_axis_result *r) {
    return r->limit - fabs(r->error);
}

/* What an axis that is measured, but not decided, needs. */
static void put_what_axis_needs(const page *p, tr_axis axis, const tr_axis_result *r) {
    char text[256], now[TR_CELL_SIZE], needed[TR_CELL_SIZE];
    const char *title = tr_axis_title(axis);
    double step = tr_axis_is_angle(axis) ? 0.01 * TR_RAD_PER_DEG : 0.1; /* that is printed */
    double room = floor(room_for_u95(r) / step) * step;
    tr_u95_cell(axis, r->u95, now);
    tr_u95_cell(axis, room, needed);
    if (!(room > 0)) {
        snprintf(text, sizeof text,
                 TR_("%s: move it nearer to the required place, then check again."), title);
    } else if (r->u95 < r->limit) {
        snprintf(
            text, sizeof text,
            TR_("%s: move it nearer to the required place, or bring u95 down to %s %s (now %s)."),
            title, needed, tr_axis_unit(axis), now);
    } else {
        snprintf(text, sizeof text, TR_("%s: u95 is %s %s; to pass it must be at most %s %s."),
                 title, now, tr_axis_unit(axis), needed, tr_axis_unit(axis));
    }
    fputs("  ", p->out);
    tr_text_wrap(p->out, 2, 4, text);
}

/* What to do about the largest part of u95, once for each source. Nothing where the sheet fails and
   is told how to be moved, nor where the measurement does not hold together. */
static void put_advice(const page *p, const tr_check_result *result, int target) {
    const char *const FROM[TR_N_SOURCES] = {TR_("the marks"), TR_("the lens"),
                                            result->has_wheels ? TR_("the hub sheets")
                                                               : TR_("the plates"),
                                            TR_("the sheets"), TR_("the pointers")};
    const tr_target_result *t = &result->targets[target];
    bool is_wanted[TR_N_SOURCES] = {false};
    bool has_any = false;
    bool is_for_moves = t->verdict == TR_FAIL && tr_target_needs_move(t);
    if (is_for_moves || tr_target_is_unsound(result, t)) return;
    for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
        if (!is_uncertain(&t->axis[axis])) continue;
        if (!has_any) fprintf(p->out, "\n  %s\n", TR_("To reach a verdict:"));
        has_any = true;
        put_what_axis_needs(p, axis, &t->axis[axis]);
        bool helps = room_for_u95(&t->axis[axis]) > 0;
        is_wanted[tr_largest_source(&t->axis[axis])] |= helps;
    }
    for (tr_source source = 0; source < TR_N_SOURCES; source++) {
        if (!is_wanted[source]) continue;
        char text[1024], sentence[1280];
        tr_source_advice(result, target, source, text, sizeof text);
        snprintf(sentence, sizeof sentence, TR_("For less u95 from %s: %s"), FROM[source], text);
        fputs("  ", p->out);
        tr_text_wrap(p->out, 2, 4, show(sentence).text);
    }
}

static void put_moves(const page *p, const tr_check_result *result, const tr_target_result *t) {
    if (t->verdict == TR_PASS) {
        fprintf(p->out, "\n  %s\n", TR_("Nothing needs to be moved."));
        return;
    }
    if (!tr_target_needs_move(t)) return;
    char text[TR_MOVES_SIZE];
    tr_target_moves_text(result, t, text);
    fputs("\n  ", p->out);
    put_style(p, "\033[1m");
    fputs("► ", p->out);
    tr_text_wrap(p->out, 4, 4, show(text).text);
    put_style(p, "\033[0m");
}

/* "41 marks"; is_of_pattern: they are no tags. */
static void marks_text(int n, bool is_of_pattern, char *out, size_t size) {
    if (is_of_pattern)
        snprintf(out, size, n == 1 ? TR_("%d mark of its pattern") : TR_("%d marks of its pattern"),
                 n);
    else
        snprintf(out, size, n == 1 ? TR_("%d mark") : TR_("%d marks"), n);
}

static void put_target(const page *p, const tr_check_result *result, int target) {
    const tr_target_result *t = &result->targets[target];
    const tr_sheet_result *found = &result->sheets[t->sheet];
    char head[512];
    char from[256];
    char marks[128], photos[64];
    tr_origins_text(t->from, from, sizeof from);
    marks_text(found->n_marks, found->is_placed && t->by == TR_BY_ARTWORK, marks, sizeof marks);
    snprintf(photos, sizeof photos, found->n_photos == 1 ? TR_("%d photo") : TR_("%d photos"),
             found->n_photos);
    char number[16] = "";
    if (result->n_targets > 1) snprintf(number, sizeof number, "%d. ", target + 1);
    if (found->is_placed && t->by == TR_BY_POINTERS)
        snprintf(head, sizeof head, TR_("%s%s: %s, from %s; as its pointers have it"), number,
                 found->id, found->title, from);
    else
        snprintf(head, sizeof head, TR_("%s%s: %s, from %s; %s in %s"), number, found->id,
                 found->title, from, marks, photos);
    fputc('\n', p->out);
    put_style(p, verdict_colour(t->verdict));
    fprintf(p->out, "%s ", tr_verdict_shape(t->verdict));
    tr_text_wrap(p->out, 2, 2, show(head).text);
    put_style(p, "\033[0m");
    if (!found->is_placed) {
        fputs("  ", p->out);
        char todo[1024];
        tr_target_not_measured(result, todo, sizeof todo);
        tr_text_wrap(p->out, 2, 2, todo);
        return;
    }
    put_axis_heads(p);
    for (tr_axis axis = 0; axis < TR_N_AXES; axis++) put_axis(p, axis, &t->axis[axis]);
    put_moves(p, result, t);
    put_budget(p, result, t);
    put_advice(p, result, target);
}

/* A line of the list: number, shape, name, verdict, mark of what is to be moved, what is wrong. */
static void put_line(const page *p, const char *number, tr_verdict verdict, const char *name,
                     bool is_moved, const char *why) {
    enum { NAME_COLUMNS = 12 };
    const char *word = tr_verdict_word(verdict);
    int verdict_columns = tr_text_column(tr_verdict_word(TR_INCONCLUSIVE), 14);
    int why_column = 22 + verdict_columns;
    char id[64];
    tr_text_fit(show(name).text, NAME_COLUMNS, id, sizeof id);
    fprintf(p->out, "  %2s ", number);
    put_style(p, verdict_colour(verdict));
    fprintf(p->out, "%s ", tr_verdict_shape(verdict));
    tr_text_left(p->out, id, NAME_COLUMNS + 1);
    fputs(word, p->out);
    put_style(p, "\033[0m");
    if (*why) {
        tr_text_left(p->out, "", verdict_columns - tr_text_columns(word));
        fputs(is_moved ? "► " : "  ", p->out);
        tr_text_wrap(p->out, why_column, why_column, show(why).text);
    } else {
        fputc('\n', p->out);
    }
}

/* One line each, so that it is seen at once which of several to move. */
static void put_summary(const page *p, const tr_check_result *result) {
    bool is_any_moved = false;
    char number[16], name[64], why[512];
    if (result->n_targets < 2) return;
    for (int i = 0; i < result->n_targets; i++) {
        is_any_moved = is_any_moved || tr_target_needs_move(&result->targets[i]);
    }
    fputc('\n', p->out);
    fprintf(p->out, is_any_moved ? TR_("%d targets; ► is to be moved") : TR_("%d targets"),
            result->n_targets);
    fputc('\n', p->out);
    for (int i = 0; i < result->n_targets; i++) {
        const tr_target_result *t = &result->targets[i];
        snprintf(number, sizeof number, "%d", i + 1);
        tr_target_why(result, i, why, sizeof why);
        put_line(p, number, t->verdict, result->sheets[t->sheet].id, tr_target_needs_move(t), why);
    }
    for (int i = 0; i < result->n_relations; i++) {
        const tr_relation_result *r = &result->relations[i];
        tr_relation_letter(i, number);
        snprintf(name, sizeof name, TR_("%d to %d"), r->targets[0] + 1, r->targets[1] + 1);
        tr_relation_why(r, why, sizeof why);
        put_line(p, number, r->verdict, name, false, why);
    }
}

/* Columns of the vehicle's lengths. */
typedef struct {
    int title, measured, u95, stated;
} length_columns;

static void put_length(const page *p, const length_columns *columns, const char *title,
                       const tr_length_result *length) {
    char cell[TR_CELL_SIZE];
    fputs("  ", p->out);
    tr_text_left(p->out, title, columns->title - 2);
    if (!length->is_measured) {
        tr_text_right(p->out, "–", columns->measured);
        tr_text_right(p->out, "", columns->u95);
    } else {
        tr_number_cell(TR_X, length->measured_mm, cell);
        tr_text_right(p->out, cell, columns->measured);
        tr_u95_cell(TR_X, length->u95_mm, cell);
        tr_text_right(p->out, cell, columns->u95);
    }
    if (length->stated_mm > 0) {
        tr_number_cell(TR_X, length->stated_mm, cell);
        tr_text_right(p->out, cell, columns->stated);
    }
    fputc('\n', p->out);
}

static void put_relations(const page *p, const tr_check_result *result) {
    for (int i = 0; i < result->n_relations; i++) {
        const tr_relation_result *r = &result->relations[i];
        char head[256], letter[16];
        tr_relation_letter(i, letter);
        snprintf(head, sizeof head, TR_("%s. From %s to %s"), letter,
                 result->sheets[result->targets[r->targets[0]].sheet].id,
                 result->sheets[result->targets[r->targets[1]].sheet].id);
        fputc('\n', p->out);
        put_style(p, verdict_colour(r->verdict));
        fprintf(p->out, "%s ", tr_verdict_shape(r->verdict));
        tr_text_wrap(p->out, 2, 2, show(head).text);
        put_style(p, "\033[0m");
        put_axis_heads(p);
        for (tr_axis axis = 0; axis < TR_N_AXES; axis++) put_axis(p, axis, &r->axis[axis]);
    }
}

/* ---- the wheels, where sheets hang on them ---- */

static void put_quantity(const page *p, const tr_quantity *q, bool is_angle, int width) {
    char number[TR_CELL_SIZE], u95[TR_CELL_SIZE], cell[2 * TR_CELL_SIZE + 2];
    tr_axis as = is_angle ? TR_YAW : TR_X;
    snprintf(cell, sizeof cell, "–");
    if (q->is_measured) {
        tr_number_cell(as, q->value, number);
        tr_u95_cell(as, q->u95, u95);
        snprintf(cell, sizeof cell, "%s %s", number, u95);
    }
    tr_text_right(p->out, cell, width);
}

/* One row a value of each wheel. step: from one wheel's to the next's. */
static const struct {
    const char *title;
    int value, step;
    bool is_angle, is_of_runout;
} WHEEL_ROWS[] = {{TR_N("toe, °"), TR_TOE, 1, true, false},
                  {TR_N("camber, °"), TR_CAMBER, 1, true, false},
                  {TR_N("centre x, mm"), TR_CENTRE, 3, false, false},
                  {TR_N("centre y, mm"), TR_CENTRE + 1, 3, false, false},
                  {TR_N("centre z, mm"), TR_CENTRE + 2, 3, false, false},
                  {TR_N("run-out, mm"), TR_RUNOUT, 1, false, true},
                  {TR_N("run-out, °"), TR_RUNOUT_TILT, 1, true, true}};
enum { N_WHEEL_ROWS = sizeof WHEEL_ROWS / sizeof *WHEEL_ROWS };

/* And one a value of the vehicle. */
static const struct {
    const char *title;
    int value;
} WHOLE_ROWS[] = {{TR_N("thrust angle, °"), TR_THRUST_ANGLE},
                  {TR_N("set-back, mm"), TR_SET_BACK},
                  {TR_N("wheelbase left, mm"), TR_WHEELBASE_LEFT},
                  {TR_N("wheelbase right, mm"), TR_WHEELBASE_RIGHT}};
enum { N_WHOLE_ROWS = sizeof WHOLE_ROWS / sizeof *WHOLE_ROWS };

static int wider(const char *text, int columns) {
    int n = tr_text_columns(text) + 1;
    return n > columns ? n : columns;
}

static void put_wheel_rows(const page *p, const tr_check_result *result, bool has_runout) {
    const char *title = TR_("Wheels");
    int first = wider(title, 18) - 2;
    for (int i = 0; i < N_WHEEL_ROWS; i++) first = wider(tr_translated(WHEEL_ROWS[i].title), first);
    fputc('\n', p->out);
    tr_text_left(p->out, title, 2 + first);
    for (int i = 0; i < TR_N_POINTS; i++) {
        const char *name = tr_point_title(tr_wheel_point_name((tr_wheel_point)i));
        tr_text_right(p->out, name, tr_text_column(name, 15));
    }
    fputc('\n', p->out);
    for (int k = 0; k < N_WHEEL_ROWS; k++) {
        if (WHEEL_ROWS[k].is_of_runout && !has_runout) continue;
        fputs("  ", p->out);
        tr_text_left(p->out, tr_translated(WHEEL_ROWS[k].title), first);
        for (int i = 0; i < TR_N_POINTS; i++) {
            const char *name = tr_point_title(tr_wheel_point_name((tr_wheel_point)i));
            put_quantity(p, &result->geometry[WHEEL_ROWS[k].value + WHEEL_ROWS[k].step * i],
                         WHEEL_ROWS[k].is_angle, tr_text_column(name, 15));
        }
        fputc('\n', p->out);
    }
}

static void put_whole_rows(const page *p, const tr_check_result *result) {
    int first = 20;
    for (int i = 0; i < N_WHOLE_ROWS; i++) first = wider(tr_translated(WHOLE_ROWS[i].title), first);
    for (int i = 0; i < N_WHOLE_ROWS; i++) {
        int value = WHOLE_ROWS[i].value;
        if (!result->geometry[value].is_measured) continue;
        fputs("  ", p->out);
        tr_text_left(p->out, tr_translated(WHOLE_ROWS[i].title), first);
        put_quantity(p, &result->geometry[value], tr_vehicle_value_is_angle(value), 16);
        fputc('\n', p->out);
    }
}

static void put_wheels(const page *p, const tr_check_result *result) {
    bool has_runout = false;
    if (!result->has_wheels) return;
    for (int i = 0; i < TR_N_POINTS; i++) {
        has_runout = has_runout || result->geometry[TR_RUNOUT + i].is_measured;
    }
    put_wheel_rows(p, result, has_runout);
    put_whole_rows(p, result);
    fputs("  ", p->out);
    tr_text_wrap(p->out, 2, 2,
                 has_runout
                     ? TR_("Toe of the rear wheels against the centreline, of the front ones "
                           "against the thrust line. The run-out of the hub sheets was measured "
                           "by rolling the vehicle, and is taken off.")
                     : TR_("Toe of the rear wheels against the centreline, of the front ones "
                           "against the thrust line. The vehicle was not rolled: how squarely the "
                           "hub sheets hang is in u95."));
}

static void put_references(const page *p, const tr_check_result *result) {
    static const char *const TITLES[] = {TR_N("wheelbase, mm"), TR_N("front track, mm"),
                                         TR_N("rear track, mm")};
    const tr_length_result *const lengths[] = {&result->wheelbase, &result->track_front,
                                               &result->track_rear};
    const char *head = result->has_wheels ? TR_("Wheels' points") : TR_("Plates at the wheels");
    const char *measured = TR_("measured");
    const char *u95 = TR_("u95");
    const char *stated = TR_("stated");
    length_columns columns = {20, tr_text_column(measured, 10), tr_text_column(u95, 10),
                              tr_text_column(stated, 10)};
    columns.title = wider(head, columns.title + 1) - 1;
    for (int i = 0; i < 3; i++)
        columns.title = wider(tr_translated(TITLES[i]), columns.title - 2) + 2;
    fputc('\n', p->out);
    tr_text_left(p->out, head, columns.title);
    tr_text_right(p->out, measured, columns.measured);
    tr_text_right(p->out, u95, columns.u95);
    tr_text_right(p->out, stated, columns.stated);
    fputc('\n', p->out);
    for (int i = 0; i < 3; i++) put_length(p, &columns, tr_translated(TITLES[i]), lengths[i]);
}

/* ---- the floor ---- */

static const char *place_name(const tr_check_result *result, int place) {
    return result->sheets[result->floor.places[place].sheet].id;
}

/* The whole table, where it was asked for. */
static void put_places(const page *p, const tr_check_result *result) {
    static const char *const HEADS[] = {[TR_FLOOR_HEIGHT] = TR_N("height, mm"),
                                        [TR_FLOOR_OUT_OF_FLAT] = TR_N("out of flat, mm"),
                                        [TR_FLOOR_ALONG] = TR_N("along, °"),
                                        [TR_FLOOR_ACROSS] = TR_N("across, °")};
    int first = wider(TR_("Floor"), 14);
    fputc('\n', p->out);
    tr_text_left(p->out, TR_("Floor"), first);
    for (tr_floor_value k = TR_FLOOR_HEIGHT; k <= TR_FLOOR_ACROSS; k++) {
        const char *head = tr_translated(HEADS[k]);
        tr_text_right(p->out, head, tr_text_column(head, 14));
    }
    fputc('\n', p->out);
    for (int i = 0; i < result->floor.n_places; i++) {
        char id[64];
        tr_text_fit(show(place_name(result, i)).text, 12, id, sizeof id);
        fputs("  ", p->out);
        tr_text_left(p->out, id, first - 2);
        for (tr_floor_value k = TR_FLOOR_HEIGHT; k <= TR_FLOOR_ACROSS; k++) {
            put_quantity(p, &result->floor.places[i].value[k].value, tr_floor_value_is_angle(k),
                         tr_text_column(tr_translated(HEADS[k]), 14));
        }
        fputc('\n', p->out);
    }
}

/* Columns of the table of the floor against the stand: title and rise, then the numbers. */
typedef struct {
    int title, measured, u95, limit;
} floor_columns;

static const char *floor_head(const tr_floor_result *floor) {
    return floor->is_judged || floor->has_level ? TR_("Against where the wheels stand")
                                                : TR_("Floor, against where the wheels stand");
}

static floor_columns floor_columns_of(const tr_floor_result *floor) {
    return (floor_columns){wider(floor_head(floor), 37) + 2, tr_text_column(TR_("measured"), 9),
                           tr_text_column(TR_("u95"), 8), tr_text_column(TR_("limit"), 8)};
}

static void put_floor_heads(const page *p, const tr_floor_result *floor) {
    const floor_columns columns = floor_columns_of(floor);
    fputc('\n', p->out);
    const bool is_part = floor->is_judged || floor->has_level; /* of a longer table */
    if (is_part) fputs("  ", p->out);
    tr_text_left(p->out, floor_head(floor), columns.title - 2 * is_part);
    tr_text_right(p->out, TR_("measured"), columns.measured);
    tr_text_right(p->out, TR_("u95"), columns.u95);
    if (is_part) tr_text_right(p->out, TR_("limit"), columns.limit);
    fputc('\n', p->out);
}

/* One value on a line of its own: with its limit and verdict where it is judged. rise: what it is
   in mm a metre; "": not told. */
static void put_floor_line(const page *p, const char *title, const char *rise,
                           const tr_floor_result *floor, const tr_floor_judged *v, tr_axis axis,
                           tr_floor_limit limit) {
    tr_axis_cells cells;
    const tr_axis_result as_axis = {.is_judged = v->is_judged,
                                    .limit = v->is_judged ? floor->limit[limit] : 0,
                                    .is_measured = v->value.is_measured,
                                    .measured = v->value.value,
                                    .error = v->value.value,
                                    .u95 = v->value.u95};
    char name[128];
    tr_axis_cells_of(axis, &as_axis, &cells);
    const floor_columns columns = floor_columns_of(floor);
    tr_text_fit(show(title).text, columns.title - 13, name, sizeof name);
    fputs("  ", p->out);
    tr_text_left(p->out, name, columns.title - 13);
    tr_text_right(p->out, rise, 11);
    tr_text_right(p->out, v->value.is_measured ? cells.measured : "–", columns.measured);
    tr_text_right(p->out, cells.u95, columns.u95);
    if (v->is_judged) {
        tr_text_right(p->out, cells.limit, columns.limit);
        fputs("  ", p->out);
        put_style(p, verdict_colour(v->verdict));
        fprintf(p->out, "%s %s", tr_verdict_shape(v->verdict), tr_verdict_word(v->verdict));
        put_style(p, "\033[0m");
    }
    fputc('\n', p->out);
}

/* "MAT-7"; "BOARD-1, at PLATE-9" where the target does not lie on the floor itself, "targets at
   PLATE-9" of several; "" of a place at which no target is. */
static void name_target_at(const tr_check_result *result, int place, char *out, size_t size) {
    const char *here = place_name(result, place);
    const char *target = NULL;
    int n = 0;
    for (int i = 0; i < result->n_targets; i++) {
        const tr_target_result *t = &result->targets[i];
        if (t->floor_place != place) continue;
        if (!target || t->sheet == result->floor.places[place].sheet)
            target = result->sheets[t->sheet].id;
        n++;
    }
    if (!target)
        out[0] = 0;
    else if (strcmp(target, here) == 0)
        snprintf(out, size, "%s", here);
    else if (n == 1)
        snprintf(out, size, TR_("%s, at %s"), target, here);
    else
        snprintf(out, size, TR_("targets at %s"), here);
}

/* The slope to each target. */
static void put_slopes(const page *p, const tr_check_result *result, tr_floor_value value) {
    const tr_floor_result *floor = &result->floor;
    for (int i = 0; i < floor->n_places; i++) {
        const tr_floor_judged *v = &floor->places[i].value[value];
        char target[160], title[192], number[TR_CELL_SIZE], rise[TR_CELL_SIZE + 8] = "";
        name_target_at(result, i, target, sizeof target);
        if (!v->value.is_measured && !v->is_judged) continue;
        snprintf(title, sizeof title, TR_("to %s, °"), target);
        tr_number_rounded(1000 * tan(v->value.value), 1, false, number);
        if (v->value.is_measured) snprintf(rise, sizeof rise, "%s mm/m", number);
        put_floor_line(p, title, rise, floor, v, TR_YAW, tr_floor_limit_of(value));
    }
}

/* Of each target's place its slopes of their own, along and across. */
static void put_tilts(const page *p, const tr_check_result *result, tr_floor_value along) {
    const tr_floor_result *floor = &result->floor;
    for (int i = 0; i < 2 * floor->n_places; i++) {
        tr_floor_value value = (tr_floor_value)((int)along + i % 2);
        const tr_floor_judged *v = &floor->places[i / 2].value[value];
        char target[160], title[192];
        name_target_at(result, i / 2, target, sizeof target);
        if (!*target || (!v->is_judged && along == TR_FLOOR_ALONG)) continue;
        snprintf(title, sizeof title, i % 2 ? TR_("%s across, °") : TR_("%s along, °"), target);
        put_floor_line(p, title, "", floor, v, TR_YAW, tr_floor_limit_of(value));
    }
}

static void put_worst_place(const page *p, const tr_check_result *result) {
    int worst = tr_floor_worst_place(&result->floor);
    char title[160];
    if (worst < 0) return;
    snprintf(title, sizeof title, TR_("out of flat, %s, mm"), place_name(result, worst));
    put_floor_line(p, title, "", &result->floor,
                   &result->floor.places[worst].value[TR_FLOOR_OUT_OF_FLAT], TR_X,
                   TR_LIMIT_OUT_OF_FLAT);
}

static void put_level(const page *p, const tr_check_result *result) {
    const tr_floor_result *floor = &result->floor;
    static const char *const TITLES[2] = {TR_N("stand along, °"), TR_N("stand across, °")};
    char text[256];
    bool is_on_stand = strcmp(floor->level_on, "stand") == 0;
    if (!floor->has_level) return;
    if (is_on_stand)
        snprintf(text, sizeof text, "%s",
                 TR_("Against the horizontal, by the level where the wheels stand"));
    else
        snprintf(text, sizeof text, TR_("Against the horizontal, by the level on %s"),
                 floor->level_on);
    fputs("  ", p->out);
    tr_text_wrap(p->out, 2, 2, show(text).text);
    for (int k = 0; k < 2; k++) {
        put_floor_line(p, tr_translated(TITLES[k]), "", floor,
                       &floor->whole[TR_FLOOR_STAND_ALONG + k], TR_YAW, TR_LIMIT_LEVEL);
    }
    put_tilts(p, result, TR_FLOOR_LEVEL_ALONG);
    put_slopes(p, result, TR_FLOOR_LEVEL_SLOPE);
}

static bool has_slopes(const tr_floor_result *floor) {
    for (int i = 0; i < floor->n_places; i++) {
        if (floor->places[i].value[TR_FLOOR_SLOPE].value.is_measured) return true;
    }
    return false;
}

static const char *stand_text(const tr_floor_result *floor) {
    if (!tr_floor_has_stand(floor)) return TR_("Nothing tells how the floor lies there.");
    return floor->stand == TR_STAND_OF_PLATES
               ? TR_("The wheels stand in the plane of their plates. Above 0 the floor rises: "
                     "along "
                     "towards the front, across towards the left, to a target away from the "
                     "wheels.")
               : TR_("The wheels stand in the plane of the sheets on the floor that are at no "
                     "target. Above 0 the floor rises: along towards the front, across towards the "
                     "left, to a target away from the wheels.");
}

/* In full where the layout or a level asks for it; else how it slopes to the targets, alone. */
static void put_floor(const page *p, const tr_check_result *result) {
    const tr_floor_result *floor = &result->floor;
    bool is_asked_for = floor->is_judged || floor->has_level;
    if (floor->n_places == 0 || (!is_asked_for && !has_slopes(floor))) return;
    if (is_asked_for) put_places(p, result);
    put_floor_heads(p, floor);
    put_tilts(p, result, TR_FLOOR_ALONG);
    put_slopes(p, result, TR_FLOOR_SLOPE);
    put_worst_place(p, result);
    put_level(p, result);
    fputs("  ", p->out);
    tr_text_wrap(p->out, 2, 2, stand_text(floor));
}

/* Flatness and scale of the sheets that were measured. */
enum { FLAT, ACROSS, UP, N_CONDITIONS };
static const char *const CONDITIONS[N_CONDITIONS] = {TR_N("flat within, mm"),
                                                     TR_N("size across, %"), TR_N("size up, %")};

static int condition_column(int k) {
    const char *head = tr_translated(CONDITIONS[k]);
    return k == FLAT ? wider(head, 16) - 1 : tr_text_column(head, k == ACROSS ? 17 : 15);
}

static void put_condition_heads(const page *p) {
    fputc('\n', p->out);
    tr_text_left(p->out, TR_("Sheets"), 12);
    for (int k = 0; k < N_CONDITIONS; k++) {
        tr_text_right(p->out, tr_translated(CONDITIONS[k]), condition_column(k) + (k == FLAT) * 2);
    }
    fputc('\n', p->out);
}

static void put_condition(const page *p, const tr_sheet_result *sheet) {
    const tr_sheet_condition *c = &sheet->condition;
    char u95[TR_CELL_SIZE], id[64];
    char cells[N_CONDITIONS][2 * TR_CELL_SIZE] = {"–", "–", "–"};
    if (c->has_flatness) {
        tr_u95_rounded(c->flatness_u95_mm, 1, u95);
        snprintf(cells[FLAT], sizeof cells[FLAT], "%.1f %s", c->flatness_mm, u95);
    }
    for (int k = 0; k < 2 && c->has_print_scale; k++) {
        tr_u95_rounded(100 * c->print_scale_u95[k], 2, u95);
        snprintf(cells[ACROSS + k], sizeof cells[k], "%.2f %s", 100 * (1 + c->print_scale[k]), u95);
    }
    tr_text_fit(show(sheet->id).text, 12, id, sizeof id);
    fputs("  ", p->out);
    tr_text_left(p->out, id, 12);
    for (int k = 0; k < N_CONDITIONS; k++) tr_text_right(p->out, cells[k], condition_column(k));
    fputc('\n', p->out);
}

static void put_conditions(const page *p, const tr_check_result *result) {
    bool has_heads = false;
    for (int i = 0; i < result->n_sheets; i++) {
        const tr_sheet_condition *c = &result->sheets[i].condition;
        if (!c->has_flatness && !c->has_print_scale) continue;
        if (!has_heads) put_condition_heads(p);
        has_heads = true;
        put_condition(p, &result->sheets[i]);
    }
}

/* One that is not used, or weak: why. */
static void put_photo(const page *p, const tr_photo_result *photo) {
    const tr_photo_quality *q = &photo->quality;
    const char *weak = q->grade == TR_PHOTO_WEAK ? tr_photo_flaw_text(q->flaw) : "";
    if (photo->is_used && !*weak) return;
    char why_not[TR_FINDING_TEXT_SIZE] = "";
    if (!photo->is_used && photo->why_not.n > 0) {
        tr_reason_text(photo->why_not.items, why_not);
    } else if (!photo->is_used) {
        snprintf(why_not, sizeof why_not,
                 photo->n_found == 0   ? TR_("no marks of this job found")
                 : photo->n_found == 1 ? TR_("1 mark found, but not used")
                                       : TR_("%d marks found, but not used"),
                 photo->n_found);
    }
    shown name = show(photo->file);
    shown reason = show(why_not);
    char line[2 * sizeof name + 256], flaw[256] = "";
    if (*weak) snprintf(flaw, sizeof flaw, TR_("weak: %s"), weak);
    snprintf(line, sizeof line, "%s: %s%s%s", name.text, reason.text,
             *reason.text && *flaw ? "; " : "", flaw);
    fputs("  - ", p->out);
    tr_text_wrap(p->out, 4, 4, line);
}

static void put_photos(const page *p, const tr_check_result *result) {
    int n_used = 0;
    for (int i = 0; i < result->n_photos; i++) n_used += result->photos[i].is_used;
    fputc('\n', p->out);
    fprintf(p->out, TR_("Photos: %d of %d used."), n_used, result->n_photos);
    if (result->n_rejected == 1) {
        fprintf(p->out, " %s", TR_("1 mark contradicts the others and was left out."));
    } else if (result->n_rejected > 0) {
        fputc(' ', p->out);
        fprintf(p->out, TR_("%d marks contradict the others and were left out."),
                result->n_rejected);
    }
    fputc('\n', p->out);
    for (int i = 0; i < result->n_photos; i++) put_photo(p, &result->photos[i]);
}

/* Said already in the list of photos. */
static bool is_about_unused_photo(const tr_finding *finding) {
    return finding->kind == TR_FOUND_PHOTO_NOT_USED || finding->kind == TR_FOUND_PHOTO_SIZE;
}

static void put_findings(const page *p, const tr_check_result *result) {
    bool is_first = true;
    for (int i = 0; i < result->findings.n; i++) {
        const tr_finding *finding = &result->findings.items[i];
        char text[TR_FINDING_TEXT_SIZE];
        char sentence[sizeof text + 64];
        if (is_about_unused_photo(finding)) continue;
        tr_finding_text(finding, text);
        bool blocks_pass = tr_finding_blocks_pass(finding->kind);
        snprintf(sentence, sizeof sentence, "%s [%s%s%s]", text, tr_finding_code(finding->kind),
                 blocks_pass ? "; " : "", blocks_pass ? TR_("no pass") : "");
        if (is_first) fprintf(p->out, "\n%s\n", TR_("Warnings"));
        fputs("  ! ", p->out);
        tr_text_wrap(p->out, 4, 4, show(sentence).text);
        is_first = false;
    }
}

static void put_free_areas(const page *p, const tr_check_result *result) {
    if (result->n_free_areas == 0) return;
    fprintf(p->out, "\n%s\n", TR_("Free areas"));
    for (int i = 0; i < result->n_free_areas; i++) {
        char text[2048];
        tr_area_text(result, &result->free_areas[i], text, sizeof text);
        fputs("  ", p->out);
        tr_text_wrap(p->out, 2, 4, text);
    }
    fputs("  ", p->out);
    tr_text_wrap(p->out, 2, 2, tr_areas_not_judged());
}

/* Who confirmed it and when, or why it was not done. */
static void put_precondition(const page *p, const tr_precondition_result *c) {
    char how[512];
    bool is_missing = c->is_required && c->state != TR_CONFIRMED;
    if (c->state == TR_CONFIRMED)
        snprintf(how, sizeof how, TR_("%s: confirmed by %s, %s"), c->text, c->by, c->at);
    else if (c->state == TR_NOT_CONFIRMED)
        snprintf(how, sizeof how,
                 is_missing ? TR_("%s: NOT CONFIRMED, but required")
                            : TR_("%s: not confirmed; not required"),
                 c->text);
    else
        snprintf(how, sizeof how,
                 is_missing ? TR_("%s: NOT DONE, but required: %s")
                            : TR_("%s: not done; not required: %s"),
                 c->text, c->reason);
    fputs(is_missing ? "  ! " : "  - ", p->out);
    tr_text_wrap(p->out, 4, 4, show(how).text);
}

static void put_preconditions(const page *p, const tr_check_result *result) {
    if (result->n_preconditions == 0) return;
    fprintf(p->out, "\n%s\n", TR_("Before measuring"));
    for (int i = 0; i < result->n_preconditions; i++) {
        put_precondition(p, &result->preconditions[i]);
    }
}

static void put_rule(const page *p) {
    for (int i = 0; i < TR_TEXT_WIDTH; i++) fputs("━", p->out);
    fputc('\n', p->out);
}

static void put_verdict(const page *p, tr_verdict verdict, const char *word, const char *why) {
    fputc('\n', p->out);
    put_style(p, verdict_colour(verdict));
    put_rule(p);
    fprintf(p->out, "  %s  %s\n", tr_verdict_shape(verdict), word);
    put_rule(p);
    put_style(p, "\033[0m");
    tr_text_wrap(p->out, 0, 0, show(why).text);
    fputc('\n', p->out);
    tr_text_wrap(p->out, 0, 0, tr_cautions_short());
}

/* Symbologies as people name them. */
static const char *symbology_name(const char *symbology) {
    return strcmp(symbology, "code-39") == 0    ? "Code 39"
           : strcmp(symbology, "code-128") == 0 ? "Code 128"
           : strcmp(symbology, "qr-code") == 0  ? "QR"
                                                : symbology;
}

static void put_item(const page *p, const char *line) {
    fputs("  - ", p->out);
    tr_text_wrap(p->out, 4, 4, line);
}

/* Which vehicle and which sheets codes name. */
static void put_identity(const page *p, const tr_identity *identity) {
    char line[1024];
    if (!identity->is_asked) return;
    fprintf(p->out, "\n%s\n", TR_("Codes read from photos"));
    if (!*identity->vehicle) {
        put_item(p, TR_("vehicle: no VIN was read"));
    } else {
        snprintf(line, sizeof line, TR_("vehicle %s (%s in %s): %s"), identity->vehicle,
                 symbology_name(identity->symbology), show(identity->photo).text,
                 !identity->has_stated ? TR_("the job states none")
                 : identity->agrees    ? TR_("agrees with the job")
                                       : TR_("differs from the job"));
        put_item(p, line);
    }
    for (int i = 0; i < identity->n_sheets; i++) {
        const tr_label_result *l = &identity->sheets[i];
        if (*l->read) {
            snprintf(line, sizeof line, TR_("sheet %s: label %s, in %s"), l->sheet,
                     show(l->read).text, show(l->photo).text);
        } else {
            snprintf(line, sizeof line, TR_("sheet %s: its label was not read"), l->sheet);
        }
        put_item(p, line);
    }
}

/* What there is of a check without a measurement. */
static void put_failed(const page *p, const tr_check_result *result) {
    if (result->has_job) put_head(p, result);
    put_preconditions(p, result);
    put_identity(p, &result->identity);
    if (result->n_photos > 0) put_photos(p, result);
    put_findings(p, result);
    char text[1024];
    tr_check_why_text(result, text, sizeof text);
    put_verdict(p, TR_INCONCLUSIVE, TR_("NO MEASUREMENT"), text);
}

void tr_check_text(const tr_check_result *result, bool is_coloured, FILE *out) {
    const page p = {out, is_coloured};
    if (result->why.code != TR_OK) {
        put_failed(&p, result);
        return;
    }
    put_head(&p, result);
    put_preconditions(&p, result);
    put_summary(&p, result);
    for (int i = 0; i < result->n_targets; i++) put_target(&p, result, i);
    put_relations(&p, result);
    put_references(&p, result);
    put_wheels(&p, result);
    put_floor(&p, result);
    put_conditions(&p, result);
    put_free_areas(&p, result);
    put_identity(&p, &result->identity);
    put_photos(&p, result);
    put_findings(&p, result);
    char why[1024];
    tr_check_why(result, why, sizeof why);
    put_verdict(&p, result->verdict, tr_verdict_headline(result->verdict), why);
}
