/* Targets that are known by the pointers laid at them. Private to check. */
#ifndef TR_CHECK_POINTED_H
#define TR_CHECK_POINTED_H

#include "check/rolled.h"
#include "check/uncertainty.h"
#include "vehicle/pointed.h"

/* Fills in solved->is_pointed: the sheet has no place of its own, and those of its pointers that
   were measured tell one. False: memory ran out. */
TR_MUST_USE bool tr_solved_find_pointed(tr_solved *solved, tr_error *err);

/* The pointers of a target that were measured, as indices into the job's; returns their number. */
int tr_solved_list_pointers(const tr_solved *solved, int target, int of[TR_POINTED_MAX]);

/* Standard deviation of a tip's height from its point's: what lies is as uneven as the floor, what
   stands is rigid. mm */
double tr_solved_tip_height_sd(const tr_solved *solved, int target);

/* How well tips lie, and whether the target does. */
void tr_solved_set_up_pointed(const tr_solved *solved, int target, tr_pointed *pointed);

/* Pointers that contradict their target's place, and targets that too few of them tell. False:
   memory ran out. */
TR_MUST_USE bool tr_check_note_pointers(const tr_solved *solved, const tr_outputs *outputs,
                                        tr_findings *findings, tr_error *err);

#endif
