/* The one SELECT of records, for every database: its text is put together from fixed parts, and all
   that comes from outside is a parameter. */
#ifndef TR_STORE_QUERY_H
#define TR_STORE_QUERY_H

#include "store/record.h"

/* Which rows: those that meet all conditions; NULL or 0 is none. Borrowed. */
typedef struct {
    const char *kind, *job, *vehicle, *technician, *verdict, *sheet, *from, *until, *id;
    const char *hash_from, *hash_until; /* from <= hash < until */
    int64_t after;                      /* number > after */
} tr_query;

enum { TR_QUERY_MAX_PARAMETERS = 16 };

/* A parameter: text, or number where text is NULL. */
typedef struct {
    const char *text;
    int64_t number;
} tr_parameter;

/* Parameter i (from 0) stands in the text as $(i + 1). */
typedef struct {
    char text[2048];
    tr_parameter parameters[TR_QUERY_MAX_PARAMETERS];
    int n;
} tr_sql;

/* number, origin_number and the columns of tr_row_names, and where `sheets` is not NULL this
   expression of the row r; in the order of numbers, at most `limit`. */
void tr_sql_select(tr_sql *sql, const tr_query *query, const char *sheets, int limit);
/* The least number of the newest `limit` that meet the query; NULL where there is none. */
void tr_sql_first_of_newest(tr_sql *sql, const tr_query *query, int limit);

#endif
