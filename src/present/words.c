#include "present/words.h"
#include "base/language.h"
#include "present/moves.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "present/catalogue.h"

enum { MAX_DECIMALS = 4, MAX_INCH_DECIMALS = 5 };

/* From here on a length in mm or an angle in degrees is nonsense, and printed as such. */
static const double LARGEST_PLAIN = 1e7;

enum { REASON_SIZE = TR_FINDING_TEXT_SIZE + TR_PHOTO_NAME_SIZE + 8 };

/* "; 1.jpg: it is mirrored left to right", of the first photo; "" where it is used. */
static void print_first_reason(const tr_check_result *result, char out[REASON_SIZE]) {
    out[0] = 0;
    if (result->n_photos == 0) return;
    const tr_photo_result *first = &result->photos[result->order[0]];
    char reason[TR_FINDING_TEXT_SIZE];
    if (first->why_not.n == 0) return;
    tr_reason_text(first->why_not.items, reason);
    snprintf(out, REASON_SIZE, "; %s: %s", first->name, reason);
}

void tr_check_name_reason(tr_check_result *result) {
    tr_error *why = &result->why;
    if (why->code != TR_NO_PHOTO) return;
    char reason[REASON_SIZE];
    tr_english_begin();
    print_first_reason(result, reason);
    tr_english_end();
    size_t used = strlen(why->text);
    snprintf(why->text + used, sizeof why->text - used, "%s", reason);
}

void tr_check_why_text(const tr_check_result *result, char *out, size_t size) {
    tr_error why = result->why;
    char reason[REASON_SIZE] = "";
    tr_english_begin();
    print_first_reason(result, reason);
    tr_english_end();
    /* It may have been cut. */
    char *named = strstr(why.text, "; ");
    while (named && strncmp(named, reason, strlen(named)) != 0) named = strstr(named + 2, "; ");
    if (named) *named = 0;
    tr_error_print(&why, out, size);
    if (!named) return;
    print_first_reason(result, reason);
    size_t used = strlen(out);
    snprintf(out + used, size - used, "%s", reason);
}

const char *tr_verdict_shape(tr_verdict verdict) {
    return verdict == TR_PASS ? "✓" : verdict == TR_FAIL ? "✗" : "?";
}

const char *tr_verdict_headline(tr_verdict verdict) {
    return verdict == TR_PASS   ? TR_("PASS")
           : verdict == TR_FAIL ? TR_("FAIL")
                                : TR_("INCONCLUSIVE");
}

const char *tr_verdict_word(tr_verdict verdict) {
    return verdict == TR_PASS   ? TR_("pass")
           : verdict == TR_FAIL ? TR_("fail")
                                : TR_("inconclusive");
}

const char *tr_axis_title(tr_axis axis) {
    static const char *const TITLES[TR_N_AXES] = {TR_N("X forward"), TR_N("Y left"), TR_N("Z up"),
                                                  TR_N("yaw"),       TR_N("pitch"),  TR_N("roll")};
    return tr_translated(TITLES[axis]);
}

const char *tr_axis_unit(tr_axis axis) {
    return tr_axis_unit_in(TR_MM, axis);
}

const char *tr_axis_unit_in(tr_length_unit unit, tr_axis axis) {
    return tr_axis_is_angle(axis) ? "°" : unit == TR_INCH ? "in" : "mm";
}

/* How values of a kind are told: what they are multiplied by, and with how many decimals. A value
   in inches is seldom a round number, so that none of it is to be hidden only in millimetres. */
typedef struct {
    double factor;
    int usual, most;
    bool is_exact;
} scale;

static scale scale_of(tr_length_unit unit, tr_axis axis) {
    if (tr_axis_is_angle(axis)) return (scale){TR_DEG_PER_RAD, 2, MAX_DECIMALS, true};
    if (unit == TR_INCH) return (scale){1 / TR_MM_PER_INCH, 3, MAX_INCH_DECIMALS, false};
    return (scale){1, 1, MAX_DECIMALS, true};
}

static double rounded(double value, int decimals) {
    double power = pow(10, decimals);
    return round(value * power) / power;
}

/* Nothing of the value is lost at that many decimals (but for the noise of unit conversion). */
static bool is_whole(double value, int decimals) {
    return fabs(rounded(value, decimals) - value) < 1e-9;
}

/* An uncertainty is never shown as nothing. */
static double rounded_u95(double u95, int decimals) {
    double r = rounded(u95, decimals);
    return r > 0 || !(u95 > 0) ? r : pow(10, -decimals);
}

/* In units of the last decimal, whose sums are exact: 0.280 less 0.044 is not above 0.236. */
static bool same_verdict_rounded(scale s, const tr_axis_result *r, int decimals) {
    double power = pow(10, decimals);
    double error = round(r->error * s.factor * power);
    double u95 = round(rounded_u95(r->u95 * s.factor, decimals) * power);
    double limit = round(r->limit * s.factor * power);
    return tr_verdict_decide(error, u95, limit) == tr_verdict_decide(r->error, r->u95, r->limit);
}

static int row_decimals(scale s, const tr_axis_result *r) {
    int n = s.usual;
    for (; n < s.most; n++) {
        if (s.is_exact && r->is_required && !is_whole(r->required * s.factor, n)) continue;
        if (s.is_exact && r->is_judged && !is_whole(r->limit * s.factor, n)) continue;
        if (r->is_judged && r->is_measured && !same_verdict_rounded(s, r, n)) continue;
        break;
    }
    return n;
}

static void print_number(double value, int decimals, const char *sign, char out[TR_CELL_SIZE]) {
    if (!isfinite(value) || fabs(value) >= LARGEST_PLAIN) {
        snprintf(out, TR_CELL_SIZE, "%s%.3g", sign, value);
        return;
    }
    double r = rounded(value, decimals);
    if (r == 0) r = 0; /* not "-0.0" */
    snprintf(out, TR_CELL_SIZE, "%s%.*f", r > 0 || *sign != '+' ? sign : "", decimals, r);
}

void tr_number_cell(tr_axis axis, double value, char out[TR_CELL_SIZE]) {
    tr_number_cell_in(TR_MM, axis, value, out);
}

void tr_number_cell_in(tr_length_unit unit, tr_axis axis, double value, char out[TR_CELL_SIZE]) {
    scale s = scale_of(unit, axis);
    print_number(value * s.factor, s.usual, "", out);
}

void tr_number_rounded(double value, int decimals, bool has_plus, char out[TR_CELL_SIZE]) {
    print_number(value, decimals, has_plus ? "+" : "", out);
}

void tr_u95_rounded(double u95, int decimals, char out[TR_CELL_SIZE]) {
    print_number(rounded_u95(u95, decimals), decimals, "±", out);
}

void tr_u95_cell(tr_axis axis, double u95, char out[TR_CELL_SIZE]) {
    tr_u95_cell_in(TR_MM, axis, u95, out);
}

void tr_u95_cell_in(tr_length_unit unit, tr_axis axis, double u95, char out[TR_CELL_SIZE]) {
    scale s = scale_of(unit, axis);
    tr_u95_rounded(u95 * s.factor, s.usual, out);
}

void tr_axis_cells_of(tr_axis axis, const tr_axis_result *r, tr_axis_cells *cells) {
    tr_axis_cells_in(TR_MM, axis, r, cells);
}

void tr_axis_cells_in(tr_length_unit unit, tr_axis axis, const tr_axis_result *r,
                      tr_axis_cells *cells) {
    scale s = scale_of(unit, axis);
    memset(cells, 0, sizeof *cells);
    int n = row_decimals(s, r);
    if (r->is_required) print_number(r->required * s.factor, n, "", cells->required);
    if (r->is_judged) print_number(r->limit * s.factor, n, "±", cells->limit);
    if (!r->is_measured) return;
    print_number(r->measured * s.factor, n, "", cells->measured);
    tr_u95_rounded(r->u95 * s.factor, n, cells->u95);
    if (r->is_required) print_number(r->error * s.factor, n, "+", cells->error);
}

/* ---- Lengths in sentences ---- */

/* Bytes of "12.5 mm" at the beginning of text, 0 where it is no length. */
static size_t length_at(const char *text, double *mm, int *decimals) {
    size_t n = strspn(text, "0123456789");
    size_t whole = n;
    *decimals = 0;
    if (n == 0) return 0;
    if (text[n] == '.' && text[n + 1] >= '0' && text[n + 1] <= '9') {
        *decimals = (int)strspn(text + n + 1, "0123456789");
        n += 1 + (size_t)*decimals;
    }
    if (strncmp(text + n, " mm", 3) != 0) return 0;
    char after = text[n + 3];
    bool is_longer = after == '/' || (after >= 'a' && after <= 'z') || after == '_';
    if (is_longer || whole > 9) return 0;
    *mm = strtod(text, NULL);
    return n + 3;
}

static bool is_within_number(char before) {
    return (before >= '0' && before <= '9') || before == '.' || before == '_' ||
           (before >= 'a' && before <= 'z') || (before >= 'A' && before <= 'Z');
}

void tr_sentence_in(tr_length_unit unit, const char *sentence, char *out, size_t size) {
    size_t n = 0;
    char before = 0;
    for (const char *c = sentence; *c && n + 1 < size;) {
        double mm;
        int decimals;
        size_t length =
            unit == TR_INCH && !is_within_number(before) ? length_at(c, &mm, &decimals) : 0;
        if (length > 0) {
            int k = snprintf(out + n, size - n, "%.*f in", decimals + 2, mm / TR_MM_PER_INCH);
            n += (size_t)k < size - n ? (size_t)k : size - n - 1;
        } else {
            out[n++] = *c;
            length = 1;
        }
        c += length;
        before = c[-1];
    }
    out[n] = 0;
}

void tr_cell_with_minus(const char cell[TR_CELL_SIZE], char out[TR_MINUS_SIZE]) {
    bool is_negative = *cell == '-';
    snprintf(out, TR_MINUS_SIZE, "%s%.*s", is_negative ? "−" : "", TR_CELL_SIZE - 2,
             is_negative ? cell + 1 : cell);
}

/* Text that grows up to its buffer. */
typedef struct {
    char text[2048];
    size_t n;
} line;

static void append(line *l, const char *format, ...) TR_PRINTF(2, 3);

static void append(line *l, const char *format, ...) {
    va_list args;
    va_start(args, format);
    int n = vsnprintf(l->text + l->n, sizeof l->text - l->n, format, args);
    va_end(args);
    if (n > 0) l->n += (size_t)n;
    if (l->n >= sizeof l->text) l->n = sizeof l->text - 1;
}

/* A sentence behind the others. */
static void append_sentence(line *l, const char *format, ...) TR_PRINTF(2, 3);

static void append_sentence(line *l, const char *format, ...) {
    char text[sizeof l->text];
    va_list args;
    va_start(args, format);
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    append(l, "%s%s", l->n ? " " : "", text);
}

/* "MAT-7 (X forward, yaw)", after those before it. */
static void append_axes(line *l, const char *name, const tr_axis_result axis[TR_N_AXES],
                        tr_verdict verdict) {
    bool is_first = true;
    for (tr_axis k = 0; k < TR_N_AXES; k++) {
        if (!axis[k].is_judged || axis[k].verdict != verdict) continue;
        if (is_first) append(l, "%s%s (", l->n ? ", " : "", name);
        append(l, "%s%s", is_first ? "" : ", ", tr_axis_title(k));
        is_first = false;
    }
    if (!is_first) append(l, ")");
}

const char *tr_point_title(const char *name) {
    static const char *const TITLES[TR_N_POINTS] = {TR_N("front left"), TR_N("front right"),
                                                    TR_N("rear left"), TR_N("rear right")};
    for (int i = 0; i < TR_N_POINTS; i++) {
        if (strcmp(name, tr_wheel_point_name((tr_wheel_point)i)) == 0)
            return tr_translated(TITLES[i]);
    }
    return name;
}

const char *tr_wheel_sheets(const tr_check_result *result) {
    bool has_hub = false;
    bool has_plate = false;
    for (int i = 0; i < result->n_plates; i++) {
        if (result->plates[i].point >= TR_N_POINTS) continue;
        has_hub |= result->plates[i].is_hub;
        has_plate |= !result->plates[i].is_hub;
    }
    return !has_hub ? TR_("plates") : !has_plate ? TR_("hub sheets") : TR_("plates and hub sheets");
}

static void append_relations(line *l, const tr_check_result *result, tr_verdict verdict) {
    for (int i = 0; i < result->n_relations; i++) {
        const tr_relation_result *r = &result->relations[i];
        char name[160];
        if (!r->axis[TR_X].is_measured) continue; /* one of its sheets is not */
        snprintf(name, sizeof name, TR_("from %s to %s"),
                 result->sheets[result->targets[r->targets[0]].sheet].id,
                 result->sheets[result->targets[r->targets[1]].sheet].id);
        append_axes(l, name, r->axis, verdict);
    }
}

static void append_floor(line *l, const tr_floor_result *floor, tr_verdict verdict) {
    if (floor->is_judged && floor->verdict == verdict)
        append(l, "%s%s", l->n ? ", " : "", TR_("the floor"));
}

/* Plates in no photo that could be used: without them there may be no vehicle frame. Returns how
   many there are. */
static int append_missing_plates(line *l, const tr_check_result *result) {
    int n = 0;
    for (int i = 0; i < result->n_plates; i++) {
        const tr_plate_result *p = &result->plates[i];
        if (result->sheets[p->sheet].n_marks > 0) continue;
        append(l, "%s%s (", n++ ? ", " : "", result->sheets[p->sheet].id);
        append(l, p->point < TR_N_POINTS ? TR_("%s wheel") : "%s", tr_point_title(p->name));
        append(l, ")");
    }
    return n;
}

/* That warnings stand against a pass; of a fail that axes tell, that they stand against that, too,
   where the measurement does not hold together. */
static void append_blocking(line *l, const tr_check_result *result, bool is_fail_told) {
    int n = 0;
    bool is_unsound = false;
    for (int i = 0; i < result->findings.n; i++) {
        n += tr_finding_blocks_pass(result->findings.items[i].kind);
    }
    for (int i = 0; i < result->n_targets; i++) {
        is_unsound = is_unsound || tr_target_is_unsound(result, &result->targets[i]);
    }
    if (is_fail_told && is_unsound) {
        append_sentence(l, "%s",
                        TR_("But the measurement does not hold together: first put right what the "
                            "warnings say, and move nothing before that."));
    } else if (!is_fail_told && n == 1) {
        append_sentence(l, "%s", TR_("A warning rules out a pass."));
    } else if (!is_fail_told && n > 1) {
        append_sentence(l, TR_("%d warnings rule out a pass."), n);
    }
}

void tr_check_why(const tr_check_result *result, char *out, size_t size) {
    line failed = {.n = 0}, uncertain = {.n = 0}, missing = {.n = 0}, plates = {.n = 0},
         all = {.n = 0};
    bool is_any_judged = result->floor.is_judged;
    int n_missing = 0, n_plates = 0;
    for (int i = 0; i < result->n_targets; i++) {
        const tr_target_result *t = &result->targets[i];
        for (tr_axis axis = 0; axis < TR_N_AXES; axis++) is_any_judged |= t->axis[axis].is_judged;
        if (!result->sheets[t->sheet].is_placed) {
            /* The sheet may well be seen: what it is to be measured from is not. */
            if (result->sheets[t->sheet].n_marks > 0 && n_plates == 0) {
                n_plates = append_missing_plates(&plates, result);
            }
            if (result->sheets[t->sheet].n_marks == 0 || n_plates == 0) {
                append(&missing, "%s%s", n_missing++ ? ", " : "", result->sheets[t->sheet].id);
            }
            continue;
        }
        append_axes(&failed, result->sheets[t->sheet].id, t->axis, TR_FAIL);
        append_axes(&uncertain, result->sheets[t->sheet].id, t->axis, TR_INCONCLUSIVE);
    }
    append_relations(&failed, result, TR_FAIL);
    append_relations(&uncertain, result, TR_INCONCLUSIVE);
    append_floor(&failed, &result->floor, TR_FAIL);
    append_floor(&uncertain, &result->floor, TR_INCONCLUSIVE);
    if (failed.n) append_sentence(&all, TR_("Out of limits: %s."), failed.text);
    if (uncertain.n) append_sentence(&all, TR_("Too uncertain to tell: %s."), uncertain.text);
    if (missing.n) {
        append_sentence(
            &all,
            n_missing == 1
                ? TR_("Not measured: %s; take photos that show it together with the %s.")
                : TR_("Not measured: %s; take photos that show them together with the %s."),
            missing.text, tr_wheel_sheets(result));
    }
    if (plates.n) {
        append_sentence(
            &all,
            n_plates == 1
                ? TR_("Not measured: %s; take two photos that show it together with other sheets.")
                : TR_("Not measured: %s; take two photos that show them together with other "
                      "sheets."),
            plates.text);
    }
    append_blocking(&all, result, result->verdict == TR_FAIL && failed.n);
    if (result->verdict == TR_PASS) {
        append_sentence(&all, "%s",
                        TR_("Every judged axis lies within its limit, including its uncertainty."));
    } else if (!all.n) {
        append_sentence(&all, "%s",
                        is_any_judged ? TR_("The measurement is not complete.")
                                      : TR_("The layout states no limits: nothing was judged."));
    }
    tr_text_show(all.text, all.n, out, size);
}

/* How far an axis is from a pass, as a part of its limit; what fails is worse than what is only
   uncertain. Below 0: it is a pass, or not judged. */
static double badness(const tr_axis_result *r) {
    if (!r->is_judged || (r->is_measured && r->verdict == TR_PASS)) return -1;
    if (!r->is_measured) return 0;
    double part = (fabs(r->error) + r->u95) / r->limit;
    return (r->verdict == TR_FAIL ? 1e6 : 0) + fmin(isfinite(part) ? part : 1e5, 1e5);
}

/* "X forward +12.1 ±2.2, limit ±10.0; also yaw". */
static void append_worst(line *l, const tr_axis_result axis[TR_N_AXES]) {
    tr_axis worst = TR_N_AXES;
    tr_axis_cells cells;
    bool is_first = true;
    for (tr_axis k = 0; k < TR_N_AXES; k++) {
        if (badness(&axis[k]) >= 0 &&
            (worst == TR_N_AXES || badness(&axis[k]) > badness(&axis[worst]))) {
            worst = k;
        }
    }
    if (worst == TR_N_AXES) return;
    tr_axis_cells_of(worst, &axis[worst], &cells);
    const char *unit = tr_axis_is_angle(worst) ? "°" : "";
    if (axis[worst].is_measured) {
        append(l, TR_("%s %s%s %s%s, limit %s%s"), tr_axis_title(worst), cells.error, unit,
               cells.u95, unit, cells.limit, unit);
    } else {
        append(l, TR_("%s not measured"), tr_axis_title(worst));
    }
    for (tr_axis k = 0; k < TR_N_AXES; k++) {
        if (k == worst || badness(&axis[k]) < 0) continue;
        append(l, "%s%s", is_first ? TR_("; also ") : ", ", tr_axis_title(k));
        is_first = false;
    }
}

const char *tr_rest_why(const tr_axis_result axis[TR_N_AXES], tr_verdict verdict) {
    bool is_judged = false;
    for (tr_axis k = 0; k < TR_N_AXES; k++) is_judged = is_judged || axis[k].is_judged;
    if (!is_judged) return TR_("no limit is stated");
    return verdict == TR_PASS ? "" : TR_("a warning rules out a pass");
}

static void append_rest(line *l, const tr_axis_result axis[TR_N_AXES], tr_verdict verdict) {
    if (!l->n) append(l, "%s", tr_rest_why(axis, verdict));
}

void tr_target_why(const tr_check_result *result, int target, char *out, size_t size) {
    line l = {.n = 0};
    const tr_target_result *t = &result->targets[target];
    if (!result->sheets[t->sheet].is_placed)
        append(&l, "%s", TR_("not measured"));
    else
        append_worst(&l, t->axis);
    append_rest(&l, t->axis, t->verdict);
    tr_text_show(l.text, l.n, out, size);
}

void tr_relation_why(const tr_relation_result *relation, char *out, size_t size) {
    line l = {.n = 0};
    if (!relation->axis[TR_X].is_measured)
        append(&l, "%s", TR_("not measured"));
    else
        append_worst(&l, relation->axis);
    append_rest(&l, relation->axis, relation->verdict);
    tr_text_show(l.text, l.n, out, size);
}

void tr_relation_letter(int relation, char out[16]) {
    if (relation < 26)
        snprintf(out, 16, "%c", 'A' + relation);
    else
        snprintf(out, 16, "R%d", relation + 1);
}

void tr_target_not_measured(const tr_check_result *result, char *out, size_t size) {
    line plates = {.n = 0};
    if (append_missing_plates(&plates, result) > 0)
        snprintf(out, size,
                 TR_("Not measured. Take photos that show this sheet together with the %s at the "
                     "wheels; none that could be used shows %s."),
                 tr_wheel_sheets(result), plates.text);
    else
        snprintf(out, size,
                 TR_("Not measured. Take photos that show this sheet together with the %s at the "
                     "wheels."),
                 tr_wheel_sheets(result));
}

/* Axes that are not required take no part: so it does not matter whether it lies or stands. */
static bool has_moves(const tr_target_result *t) {
    char moves[TR_MAX_MOVES][TR_MOVE_SIZE];
    return t->is_to_move && tr_moves_upright("", t->axis, moves) > 0;
}

bool tr_target_needs_move(const tr_target_result *t) {
    for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
        const tr_axis_result *r = &t->axis[axis];
        if (!r->is_judged || !r->is_measured || r->verdict == TR_PASS) continue;
        if (r->verdict == TR_FAIL || fabs(r->error) > r->limit / 2) return has_moves(t);
    }
    return false;
}

bool tr_target_is_unsound(const tr_check_result *result, const tr_target_result *t) {
    bool is_off = false;
    for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
        const tr_axis_result *r = &t->axis[axis];
        is_off = is_off || (r->is_judged && r->is_measured && r->verdict != TR_PASS);
    }
    return is_off && !t->is_to_move && tr_findings_block_pass(&result->findings);
}

/* Of equal parts the one that is easiest to better. */
tr_source tr_largest_source(const tr_axis_result *r) {
    static const tr_source ORDER[] = {TR_FROM_PLATES, TR_FROM_POINTERS, TR_FROM_LENS, TR_FROM_MARKS,
                                      TR_FROM_SHEETS};
    tr_source largest = ORDER[0];
    for (size_t i = 1; i < sizeof ORDER / sizeof *ORDER; i++) {
        if (r->u95_of[ORDER[i]] > r->u95_of[largest]) largest = ORDER[i];
    }
    return largest;
}

/* Sides of a sheet from which a photo can be taken, in the vehicle's directions. */
enum { AHEAD, LEFT, BEHIND, RIGHT, N_SIDES };

/* The sides, as bits, from which the used photos were taken: quarters of the circle about the
   sheet's required place. */
static unsigned sides_seen(const tr_check_result *result, const tr_target_result *t) {
    unsigned seen = 0;
    for (int i = 0; i < result->n_photos; i++) {
        if (!result->photos[i].is_used) continue;
        tr_pose vehicle_from_camera = tr_pose_inverse(result->photos[i].camera_from_vehicle);
        tr_vec3 d = tr_v3_sub(vehicle_from_camera.t_mm, t->vehicle_from_required.t_mm);
        int side = fabs(d.x) >= fabs(d.y) ? (d.x > 0 ? AHEAD : BEHIND) : (d.y > 0 ? LEFT : RIGHT);
        seen |= 1u << side;
    }
    return seen;
}

/* The reference or the target itself that is in the fewest photos. */
static int rarest_sheet(const tr_check_result *result, const tr_target_result *t) {
    int rarest = t->sheet;
    for (int i = 0; i < result->n_plates; i++) {
        int sheet = result->plates[i].sheet;
        if (result->sheets[sheet].n_photos < result->sheets[rarest].n_photos) rarest = sheet;
    }
    return rarest;
}

static void append_photos_wanted(line *l, const tr_check_result *result,
                                 const tr_target_result *t) {
    static const char *const SIDES[N_SIDES] = {TR_N("from ahead"), TR_N("from the vehicle's left"),
                                               TR_N("from behind"),
                                               TR_N("from the vehicle's right")};
    enum { FEW = 2 };
    append(l,
           TR_("Add photos, closer and sharp, each with the sheet and as many %s as it can hold."),
           tr_wheel_sheets(result));
    int rarest = rarest_sheet(result, t);
    int n = result->sheets[rarest].n_photos;
    if (n <= FEW) {
        append(l, " ");
        if (n == 1)
            append(l, TR_("%s is in one photo only."), result->sheets[rarest].id);
        else
            append(l, TR_("%s is in %d photos only."), result->sheets[rarest].id, n);
    }
    /* Between sheet and vehicle there is seldom room to stand. */
    bool is_behind_vehicle = t->vehicle_from_required.t_mm.x < 0;
    unsigned wanted = 1u << LEFT | 1u << RIGHT | 1u << (is_behind_vehicle ? BEHIND : AHEAD);
    unsigned missing = wanted & ~sides_seen(result, t);
    bool is_first = true;
    line sides = {.n = 0};
    for (int side = 0; side < N_SIDES; side++) {
        if (!(missing & 1u << side)) continue;
        append(&sides, "%s%s", is_first ? "" : TR_(" or "), tr_translated(SIDES[side]));
        is_first = false;
    }
    if (sides.n) {
        append(l, " ");
        append(l, TR_("None was taken %s."), sides.text);
    }
}

/* Whether photos were used with the camera upright as well as level: then a shift of the lens and a
   turn of the camera are told apart (doc/measurements.md, "What photos help, and what a phone
   costs"). The pixels are those of the sensor, so that the pose tells. */
static bool is_camera_turned_enough(const tr_check_result *result) {
    enum { ENOUGH = 2 };
    int n[2] = {0, 0};
    for (int i = 0; i < result->n_photos; i++) {
        if (!result->photos[i].is_used) continue;
        tr_vec3 up = tr_m3_apply(result->photos[i].camera_from_vehicle.R, tr_v3(0, 0, 1));
        n[fabs(up.x) > fabs(up.y)]++;
    }
    return n[0] >= ENOUGH && n[1] >= ENOUGH;
}

static void append_lens_wanted(line *l, const tr_check_result *result) {
    if (!result->is_camera_steady && !is_camera_turned_enough(result)) {
        append(l,
               TR_("Add two photos for which the camera is turned by a quarter (upright where the "
                   "others are level), each with the sheet and %s; or calibrate the lens again, "
                   "with more photos of the checkerboard: tilted, near, and out to every corner of "
                   "the image."),
               tr_wheel_sheets(result));
    } else {
        append(l, "%s",
               TR_("Calibrate the lens again, with more photos of the checkerboard: tilted, near, "
                   "and out to every corner of the image."));
    }
}

static void append_survey_wanted(line *l, const tr_check_result *result) {
    int n_surveyed = 0;
    for (int i = 0; i < result->n_sheets; i++) n_surveyed += result->sheets[i].is_surveyed;
    if (n_surveyed == result->n_sheets) {
        append(l, "%s",
               TR_("Survey the sheets again ('trammel survey'), with more photos and a longer, "
                   "better known length in view."));
    } else if (n_surveyed > 0) {
        append(l, "%s", TR_("Survey the sheets that were not surveyed yet ('trammel survey')."));
    } else {
        append(l, TR_("Survey the sheets ('trammel survey'): until then their printed sizes are "
                      "known to 0.1 %% only."));
    }
}

/* What hub sheets leave open. */
static void append_roll_wanted(line *l, const tr_check_result *result) {
    bool is_rolled = false;
    for (int i = 0; i < TR_N_POINTS; i++) {
        is_rolled = is_rolled || result->geometry[TR_RUNOUT + i].is_measured;
    }
    append(l, "%s",
           is_rolled
               ? TR_("Stick a small tag on the vehicle's body and name it in the job as a "
                     "reference, or roll the vehicle once more for a third position; a floor that "
                     "is known to be even may be stated (floor_sd_mm).")
               : TR_("Roll the vehicle by a quarter turn of its wheels between two groups of "
                     "photos, and list both under 'positions' in the job: how the hub sheets hang "
                     "is then measured."));
}

void tr_source_advice(const tr_check_result *result, int target, tr_source source, char *out,
                      size_t size) {
    line l = {.n = 0};
    if (source == TR_FROM_PLATES && result->has_wheels) {
        append_roll_wanted(&l, result);
    } else if (source == TR_FROM_PLATES) {
        append(&l,
               TR_("Set the plates more exactly on their plumb marks, and state in the job how "
                   "well they sit (reference_sd_mm, now %.3g)."),
               result->reference_sd_mm);
    } else if (source == TR_FROM_POINTERS) {
        append(
            &l, "%s",
            TR_("Lay the tips of the pointers more exactly at their points, or lay more of them, "
                "and state in the job how well they lie (pointer_sd_mm)."));
    } else if (source == TR_FROM_SHEETS) {
        append_survey_wanted(&l, result);
    } else if (source == TR_FROM_LENS && result->is_lens_unknown) {
        append(&l, "%s",
               TR_("Calibrate it with 'trammel lens', and name its profile in the job instead of "
                   "'lens: unknown'."));
    } else if (source == TR_FROM_LENS) {
        append_lens_wanted(&l, result);
    } else {
        append_photos_wanted(&l, result, &result->targets[target]);
    }
    tr_text_show(l.text, l.n, out, size);
}

static const char *origin_text(const tr_origin *origin) {
    switch (origin->kind) {
    case TR_FROM_REAR_AXLE: return TR_("the rear axle");
    case TR_FROM_FRONT_AXLE: return TR_("the front axle");
    case TR_FROM_POINT: return tr_point_title(origin->name);
    case TR_FROM_SHEET: break;
    }
    return origin->name;
}

void tr_origins_text(const tr_origin from[3], char *out, size_t size) {
    const char *z = from[2].kind == TR_FROM_REAR_AXLE ? TR_("the floor") : origin_text(&from[2]);
    if (tr_origin_is(&from[0], &from[1]) && from[2].kind == TR_FROM_REAR_AXLE)
        snprintf(out, size, "%s", origin_text(&from[0]));
    else
        snprintf(out, size, "%s (x), %s (y), %s (z)", origin_text(&from[0]), origin_text(&from[1]),
                 z);
}
