/* A job and its solved network, with the wheels' axes where the vehicle was rolled between photos,
   and which targets are known by their pointers. Private to check. */
#ifndef TR_CHECK_ROLLED_H
#define TR_CHECK_ROLLED_H

#include "adjust/adjust.h"
#include "base/finding.h"
#include "job/job.h"
#include "photos/photo_set.h"
#include "vehicle/roll.h"

typedef struct {
    const tr_job *job; /* borrowed, all three */
    const tr_adjustment *adj;
    const tr_photo_input *input; /* of which the network was made */
    tr_roll *roll;               /* NULL: the vehicle was not rolled */
    int *reference;              /* of each sheet of the roll: its reference */
    int *rolled;                 /* of each reference: its sheet of the roll, or -1 */
    int n_rolled;
    bool *is_pointed; /* of each sheet of the job: no mark of its own, but pointers tell its pose */
} tr_solved;

/* Finds the wheels' axes, and what contradicts them: sheets that slipped, wheels that turned apart,
   too little a roll. *out is to be released in any case. False: memory ran out, or the axes are not
   told (TR_NO_MEASURE). */
TR_MUST_USE bool tr_solved_make(const tr_job *job, const tr_adjustment *adj,
                                const tr_photo_input *input, tr_solved *out, tr_findings *findings,
                                tr_error *err);
void tr_solved_release(tr_solved *solved);

/* The network's number of a sheet of the job in a position. */
int tr_solved_sheet(const tr_solved *solved, int position, int sheet);

/* Whether it is known where a sheet of the job is, in the last position. */
static inline bool tr_solved_has_place(const tr_solved *solved, int sheet) {
    return solved->adj->sheet_placed[sheet] || solved->is_pointed[sheet];
}

/* By what the variance of all observations of the roll is to be multiplied, of poses, of how sheets
   hang and of heights, since they fit each other worse than they should; 1 where they do not. */
double tr_solved_variance_factor(const tr_solved *solved);

#endif
