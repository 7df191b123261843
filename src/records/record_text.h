/* Records as a terminal shows them. Times are UTC. */
#ifndef TR_RECORDS_RECORD_TEXT_H
#define TR_RECORDS_RECORD_TEXT_H

#include <stdio.h>

#include "records/remeasure.h"
#include "store/store.h"

/* What a list shows of a record, ready to print. */
enum { TR_ROW_CELLS = 7, TR_ROW_CELL_SIZE = 80 };
typedef struct {
    char cell[TR_ROW_CELLS][TR_ROW_CELL_SIZE];
} tr_record_row;

void tr_record_row_of(const tr_record *record, tr_record_row *out);
/* With a head; columns as wide as their widest cell. */
void tr_record_rows_text(const tr_record_row *rows, int n, FILE *out);

/* The word in which a verdict is kept, of that word or of the one that people read in its place;
   NULL: there is no such verdict. */
const char *tr_record_verdict(const char *said);

/* All of a record but its result. */
void tr_record_text(const tr_record *record, FILE *out);

/* What came of measuring it again: a sentence, and the values that differ most. */
void tr_remeasurement_text(const tr_record *record, const tr_remeasurement *again, FILE *out);

#endif
