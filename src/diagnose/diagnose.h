/* The whole measurement of a job's network: adjustment, and what does not fit and why. Detection,
   identification and adaptation after Baarda (A testing procedure for use in geodetic networks,
   1968) and Teunissen: where all marks together fit too badly, each hypothesis that would make the
   whole consistent is tried (hypotheses.h), and the one that explains most is reported. Where none
   does, single marks that contradict the others are rejected one by one (adjust/outliers.h), and
   reported. */
#ifndef TR_DIAGNOSE_DIAGNOSE_H
#define TR_DIAGNOSE_DIAGNOSE_H

#include "adjust/adjust.h"
#include "base/finding.h"
#include "diagnose/sheet_condition.h"

/* conditions: one a sheet of the input, all zero; filled in. False: nothing can be solved
   (TR_NO_MEASURE; no photo shows two sheets, no marks, ...), and out is empty. Findings are added
   to findings, also where it fails. Everything in out is owned by it. */
TR_MUST_USE bool tr_diagnose(const tr_adjust_input *in, tr_adjustment *out,
                             tr_sheet_condition *conditions, tr_findings *findings, tr_error *err);

#endif
