/* Rigid groups of marks: what is sought in the photos. Private to survey. */
#ifndef TR_SURVEY_RIGID_GROUPS_H
#define TR_SURVEY_RIGID_GROUPS_H

#include "survey/survey.h"

/* Fills in v->group_sheets and v->groups: one group a sheet with the places known so far (of the
   file, or measured), one a stuck tag whose place is not known, two a bar. Old ones are released.
 */
TR_MUST_USE bool tr_survey_make_groups(tr_survey *v, tr_error *err);
void tr_survey_release_groups(tr_survey *v);

/* The mark of the survey that is mark k of a photo; -1 for a bar's tag. */
int tr_survey_mark_of(const tr_survey *v, const tr_mark *mark);

#endif
