/* A hypothesis of what makes the marks contradict each other, and what a search for one knows.
   Private to diagnose. */
#ifndef TR_DIAGNOSE_HYPOTHESIS_H
#define TR_DIAGNOSE_HYPOTHESIS_H

#include "adjust/adjust.h"
#include "base/finding.h"
#include "diagnose/sheet_condition.h"
#include "diagnose/trial.h"

typedef struct tr_hypothesis_kind tr_hypothesis_kind;

typedef struct {
    const tr_hypothesis_kind *kind; /* a row of the table in hypotheses.c; NULL: there is none */
    int index;                      /* of the lens or the sheet that it is about */
    int first_photo, last_photo;    /* of a move: the sheet lay elsewhere from here to there */
    /* By the score test, where it was made: how far the cost would fall. Else INFINITY: only a
       solution can tell. */
    bool is_scored;
    double score;
    tr_trial trial;
} tr_hypothesis;

typedef struct {
    const tr_adjust_input *in;
    tr_adjustment *adj;             /* solved; trials leave it as it is */
    const tr_network *base;         /* a copy of its network */
    tr_sheet_condition *conditions; /* of each sheet: what trials of its print say is noted there */
    double least_move_mm;           /* a shorter move is none */
    /* Where not NULL: a move must explain more of this solution than chance does. */
    const tr_lsq_result *beyond_chance;
    int n_listed; /* of the kind in question: hypotheses among which chance could choose */
} tr_hypothesis_search;

#endif
