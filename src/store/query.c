#include "store/query.h"

#include <stdio.h>
#include <string.h>

/* Fits by construction: every part is short and fixed. */
static void add(tr_sql *sql, const char *part) {
    size_t at = strlen(sql->text);
    snprintf(sql->text + at, sizeof sql->text - at, "%s", part);
}

static void add_parameter(tr_sql *sql, const char *text, int64_t number) {
    char name[16];
    sql->parameters[sql->n++] = (tr_parameter){text, number};
    snprintf(name, sizeof name, "$%d", sql->n);
    add(sql, name);
}

static void add_condition(tr_sql *sql, const char *before, const char *text, const char *after) {
    if (!text) return;
    add(sql, before);
    add_parameter(sql, text, 0);
    add(sql, after);
}

static void add_conditions(tr_sql *sql, const tr_query *q) {
    add(sql, " FROM record r WHERE number > ");
    add_parameter(sql, NULL, q->after);
    add_condition(sql, " AND kind = ", q->kind, "");
    add_condition(sql, " AND job = ", q->job, "");
    add_condition(sql, " AND vehicle = ", q->vehicle, "");
    add_condition(sql, " AND technician = ", q->technician, "");
    add_condition(sql, " AND verdict = ", q->verdict, "");
    add_condition(sql, " AND number IN (SELECT number FROM record_sheet WHERE sheet = ", q->sheet,
                  ")");
    add_condition(sql, " AND made_at >= ", q->from, "");
    add_condition(sql, " AND made_at <= ", q->until, "");
    add_condition(sql, " AND id = ", q->id, "");
    add_condition(sql, " AND hash >= ", q->hash_from, "");
    add_condition(sql, " AND hash < ", q->hash_until, "");
}

void tr_sql_select(tr_sql *sql, const tr_query *query, const char *sheets, int limit) {
    *sql = (tr_sql){0};
    add(sql, "SELECT number, origin_number");
    for (int i = 0; i < TR_N_ROW_COLUMNS; i++) {
        add(sql, ", ");
        add(sql, tr_row_names[i]);
    }
    if (sheets) {
        add(sql, ", ");
        add(sql, sheets);
    }
    add_conditions(sql, query);
    add(sql, " ORDER BY number LIMIT ");
    add_parameter(sql, NULL, limit);
}

void tr_sql_first_of_newest(tr_sql *sql, const tr_query *query, int limit) {
    *sql = (tr_sql){0};
    add(sql, "SELECT min(number) FROM (SELECT number");
    add_conditions(sql, query);
    add(sql, " ORDER BY number DESC LIMIT ");
    add_parameter(sql, NULL, limit);
    add(sql, ") newest");
}
