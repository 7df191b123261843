/* Words for people: a result's numbers rounded as they are worth reading, and what a verdict rests
   on. The terminal's text and the picture both take them from here, and so say the same. All text
   is UTF-8, in the user's language (base/language.h). */
#ifndef TR_PRESENT_WORDS_H
#define TR_PRESENT_WORDS_H

#include <stddef.h>

#include "check/result.h"
#include "present/unit.h"

/* Where no photo can be used (TR_NO_PHOTO), adds to result->why the reason of the first. */
void tr_check_name_reason(tr_check_result *result);
/* Why there is no measurement, with the place, as tr_error_print has it, but with the reason of the
   first photo in the user's language, too. */
void tr_check_why_text(const tr_check_result *result, char *out, size_t size);

/* The shape that goes with the word: a tick, a cross, a question mark. */
const char *tr_verdict_shape(tr_verdict verdict);
/* "PASS", "FAIL", "INCONCLUSIVE"; "pass", "fail", "inconclusive", in the user's language. */
const char *tr_verdict_headline(tr_verdict verdict);
const char *tr_verdict_word(tr_verdict verdict);

/* "X forward", "Y left", "Z up", "yaw", "pitch", "roll". */
const char *tr_axis_title(tr_axis axis);
/* "mm", "°". */
const char *tr_axis_unit(tr_axis axis);
/* "mm" or "in", "°". */
const char *tr_axis_unit_in(tr_length_unit unit, tr_axis axis);
/* The sentence with its lengths in that unit: "12 mm" becomes "0.47 in", with two decimals more,
   which are as fine. "mm/m", which is a slope, stays. Cut to the size of out. */
void tr_sentence_in(tr_length_unit unit, const char *sentence, char *out, size_t size);

/* One axis, ready to print in its unit; "" where there is nothing to print. Lengths have one
   decimal, angles two. A row gets more (at most four) where the rounded numbers would not lead a
   reader who does the sum to the verdict that stands beside them, or would hide a part of a limit
   or a required value. */
enum { TR_CELL_SIZE = 24 };
typedef struct {
    char required[TR_CELL_SIZE], measured[TR_CELL_SIZE], error[TR_CELL_SIZE];
    char u95[TR_CELL_SIZE], limit[TR_CELL_SIZE]; /* begin with ± */
} tr_axis_cells;
void tr_axis_cells_of(tr_axis axis, const tr_axis_result *result, tr_axis_cells *cells);
/* The same with lengths in that unit. In inches they have three decimals, and more (at most five)
   where the rounded numbers would lead to another verdict; angles stay as they are. */
void tr_axis_cells_in(tr_length_unit unit, tr_axis axis, const tr_axis_result *result,
                      tr_axis_cells *cells);

/* A length or an angle (mm or rad) with the decimals above: "12.1", "±0.06". */
void tr_number_cell(tr_axis axis, double value, char out[TR_CELL_SIZE]);
void tr_u95_cell(tr_axis axis, double u95, char out[TR_CELL_SIZE]);
/* The same with lengths in that unit: "0.476", "±0.002". */
void tr_number_cell_in(tr_length_unit unit, tr_axis axis, double value, char out[TR_CELL_SIZE]);
void tr_u95_cell_in(tr_length_unit unit, tr_axis axis, double u95, char out[TR_CELL_SIZE]);
/* Any number: rounded, without a sign where it reads as nothing; others have a plus where asked
 * for.
 */
void tr_number_rounded(double value, int decimals, bool has_plus, char out[TR_CELL_SIZE]);
/* Any uncertainty: rounded, but up where it would read as nothing. */
void tr_u95_rounded(double u95, int decimals, char out[TR_CELL_SIZE]);

/* A cell with a true minus sign, as wide as a plus, for drawings. */
enum { TR_MINUS_SIZE = TR_CELL_SIZE + 2 };
void tr_cell_with_minus(const char cell[TR_CELL_SIZE], char out[TR_MINUS_SIZE]);

/* Why the whole check has its verdict, one line: which sheets and axes are out of limits, not
   found, or too uncertain; or that a warning rules out a pass, but not of a fail that axes tell. */
void tr_check_why(const tr_check_result *result, char *out, size_t size);

/* A point of the vehicle as people name it: "front left" for the wheel front-left, another point by
   the name that the job gives it. */
const char *tr_point_title(const char *name);

/* What marks the wheels: "plates", "hub sheets", or both. */
const char *tr_wheel_sheets(const tr_check_result *result);
/* What is wrong with a target, in a few words: the judged axis that is worst, and which others are
   no pass either; "" of a pass. */
void tr_target_why(const tr_check_result *result, int target, char *out, size_t size);
/* The same of the six axes of a relation. */
void tr_relation_why(const tr_relation_result *relation, char *out, size_t size);
/* Why they have that verdict where no axis tells: a warning rules out a pass, or no limit is
   stated;
   "" of a pass. */
const char *tr_rest_why(const tr_axis_result axis[TR_N_AXES], tr_verdict verdict);
/* By which drawings and lists name a relation: "A", "B", ... */
void tr_relation_letter(int relation, char out[16]);
/* What to do about a target that was not found; which plates no photo shows that could be used. */
void tr_target_not_measured(const tr_check_result *result, char *out, size_t size);

/* Moving the sheet is what helps: a judged axis is out of its limit, or undecided with an error
   that takes up more than half of it. False for a pass, and where only a smaller u95 helps. */
bool tr_target_needs_move(const tr_target_result *target);

/* The measurement does not hold together, as its warnings say: nothing is to be moved by it, and no
   smaller u95 decides it. */
bool tr_target_is_unsound(const tr_check_result *result, const tr_target_result *target);

/* What makes up most of an axis' u95. */
tr_source tr_largest_source(const tr_axis_result *result);

/* What to do so that u95 becomes smaller, where it comes mostly from that source: a sentence or
   two. For the marks it says from where to take more photos. */
void tr_source_advice(const tr_check_result *result, int target, tr_source source, char *out,
                      size_t size);

/* What a target's coordinates count from: "the rear axle", "emblem (x), front left (y)". */
void tr_origins_text(const tr_origin from[3], char *out, size_t size);

#endif
