/* The network of a survey: set up, solved, marks that contradict rejected. Private to survey. */
#ifndef TR_SURVEY_NETWORK_H
#define TR_SURVEY_NETWORK_H

#include "network/network.h"
#include "survey/survey.h"

enum { TR_SURVEY_TITLE_SIZE = 112 };

/* Sheets of the network: those of the spec, then each bar's two tags. Offsets: one a mark of the
   survey, then one a bar's tag; an observation's mark is the number of its offset, from 0. Photos:
   the check's, in its order. */
typedef struct {
    tr_survey *survey;
    tr_network net;                                          /* arrays owned */
    const char **photo_names, **sheet_names, **offset_names; /* the network's: arrays owned */
    char (*mark_titles)[TR_SURVEY_TITLE_SIZE]; /* of each offset: "tag 5 of MAT-7"; owned */
    tr_tag *base;     /* of each mark of the survey: where its offset counts from; owned */
    bool *is_placed;  /* of each observation: its photo has a start; owned */
    bool *is_seen;    /* of each mark and bar's tag: in enough photos; owned */
    int *rule_of;     /* of each length of the survey: the rule, or -1 for a bar; owned */
    int *axis_of;     /* of a rule; owned */
    int *ends;        /* two marks a length (bars: n_marks + tag), -1: none; owned */
    bool *is_printed; /* marks that the file places, and that lie there but for the print; owned */
    double printed_rms_mm; /* how far these lie off by themselves */
    int datum_sheet;       /* the sheet that is held */
    double *covariance;    /* of survey_unknowns, unit variance; owned */
    int n_unknowns;
    tr_lsq_result result;
    double photos_variance; /* variance factor where no length can contradict another */
} tr_survey_network;

/* Columns of the covariance: TR_OFFSET_N a mark, then 3 (place) a bar's tag. */
static inline int tr_survey_column(const tr_survey_network *w, int mark) {
    int n_marks = w->survey->n_marks;
    return mark < n_marks ? TR_OFFSET_N * mark : TR_OFFSET_N * n_marks + 3 * (mark - n_marks);
}

/* Initial values and all observations; survey->lengths are filled in. */
TR_MUST_USE bool tr_survey_network_make(tr_survey *survey, tr_survey_network *out, tr_error *err);
/* Chooses the marks between which rules are taken to hold; true where one changed. */
bool tr_survey_choose_rules(tr_survey_network *w);
/* Solves, leaves out what contradicts, and fills in the covariance. What the photos say of each
   other is settled with one length alone: two that contradict each other would bend the network,
   and marks of the right one could be left out. */
TR_MUST_USE bool tr_survey_network_solve(tr_survey_network *w, tr_error *err);
void tr_survey_network_release(tr_survey_network *w);

/* Where a measured mark lies in its sheet's frame of the network. */
tr_vec2 tr_survey_network_place(const tr_survey_network *w, int mark);

#endif
