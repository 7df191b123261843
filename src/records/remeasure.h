/* A record measured again, from its own photos and inputs. */
#ifndef TR_RECORDS_REMEASURE_H
#define TR_RECORDS_REMEASURE_H

#include "records/compare.h"
#include "store/store.h"

typedef struct {
    bool is_same_program; /* the record was made by this version */
    bool is_same;         /* the result has the same bytes */
    tr_comparison comparison;
} tr_remeasurement;

/* The function (records/replay.h) that measures records of the kind again; NULL: no command's
   results are of that kind. */
const char *tr_record_replayer(const char *kind);

/* Loads the command's module for it. out: to be released in any case. False: it cannot be made
   again, or the record cannot be read. */
TR_MUST_USE bool tr_record_remeasure(tr_store *store, const tr_record *record,
                                     tr_remeasurement *out, tr_error *err);
void tr_remeasurement_release(tr_remeasurement *again);

#endif
