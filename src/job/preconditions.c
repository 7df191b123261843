#include "job/preconditions.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

bool tr_precondition_id_is_valid(const char *id) {
    static const char ALLOWED[] = "abcdefghijklmnopqrstuvwxyz0123456789-";
    return *id && *id != '-' && strlen(id) < 64 && strspn(id, ALLOWED) == strlen(id);
}

/* ---- times ---- */

/* The next n characters as a number from low to high; -1: they are none. */
static int digits(const char **at, int n, int low, int high) {
    int value = 0;
    for (int i = 0; i < n; i++, (*at)++) {
        if (**at < '0' || **at > '9') return -1;
        value = 10 * value + (**at - '0');
    }
    return value >= low && value <= high ? value : -1;
}

static bool skip(const char **at, char c) {
    if (**at != c) return false;
    (*at)++;
    return true;
}

static int days_of(int year, int month) {
    static const int DAYS[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    bool is_leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return DAYS[month - 1] + (month == 2 && is_leap);
}

static bool is_zone(const char **at) {
    if (**at == 0 || skip(at, 'Z')) return true;
    return (skip(at, '+') || skip(at, '-')) && digits(at, 2, 0, 14) >= 0 && skip(at, ':') &&
           digits(at, 2, 0, 59) >= 0;
}

bool tr_time_is_valid(const char *text) {
    const char *at = text;
    int year = digits(&at, 4, 1583, 9999);
    if (year < 0 || !skip(&at, '-')) return false;
    int month = digits(&at, 2, 1, 12);
    if (month < 0 || !skip(&at, '-')) return false;
    if (digits(&at, 2, 1, days_of(year, month)) < 0 || !skip(&at, 'T')) return false;
    if (digits(&at, 2, 0, 23) < 0 || !skip(&at, ':') || digits(&at, 2, 0, 59) < 0) return false;
    if (skip(&at, ':') && digits(&at, 2, 0, 59) < 0) return false;
    return is_zone(&at) && *at == 0;
}

/* ---- the layout's ---- */

static tr_precondition read_precondition(tr_yaml y) {
    static const char *const YES[] = {"false", "true"};
    tr_precondition p = {0};
    tr_yaml_keys(y, "id text required");
    tr_yaml id = tr_yaml_at(y, "id");
    tr_yaml_text(id, p.id, sizeof p.id);
    if (tr_yaml_has(id) && !tr_precondition_id_is_valid(p.id)) {
        tr_yaml_fail(id, "is %s; give small letters, digits and '-', as in tyre-pressures", p.id);
    }
    tr_yaml_text(tr_yaml_at(y, "text"), p.text, sizeof p.text);
    p.is_required = tr_yaml_choice(tr_yaml_at(y, "required"), YES, 2) == 1;
    return p;
}

tr_precondition *tr_read_preconditions(tr_yaml y, int *n) {
    tr_precondition *all = tr_yaml_array(y, 0, TR_MAX_PRECONDITIONS, sizeof *all, n);
    for (int i = 0; i < *n && tr_yaml_has(y); i++) {
        tr_yaml item = tr_yaml_item(y, i);
        all[i] = read_precondition(item);
        for (int j = 0; j < i && tr_yaml_has(y); j++) {
            if (strcmp(all[i].id, all[j].id) != 0) continue;
            tr_yaml_fail(tr_yaml_at(item, "id"),
                         "is %s, which preconditions[%d] has already; give each its own", all[i].id,
                         j);
        }
    }
    return all;
}

/* ---- the job's ---- */

static void fail_unknown(tr_yaml y, const char *id, const tr_precondition *of, int n_of,
                         const char *layout) {
    char known[192] = "";
    for (int i = 0; i < n_of; i++) {
        size_t n = strlen(known);
        snprintf(known + n, sizeof known - n, "%s%s", i > 0 ? ", " : "", of[i].id);
    }
    if (n_of == 0)
        tr_yaml_fail(y, "is %s, but layout %s has no preconditions; leave it out", id, layout);
    else
        tr_yaml_fail(y, "is %s, which is no precondition of layout %s; it has: %s", id, layout,
                     known);
}

static void read_how(tr_yaml y, tr_confirmation *c) {
    tr_yaml by = tr_yaml_at(y, "by");
    tr_yaml at = tr_yaml_at(y, "at");
    tr_yaml not_done = tr_yaml_at(y, "not_done");
    c->is_done = !tr_yaml_has(not_done);
    tr_yaml_text(not_done, c->reason, sizeof c->reason);
    tr_yaml_text(by, c->by, sizeof c->by);
    tr_yaml_text(at, c->at, sizeof c->at);
    if (c->is_done && !(tr_yaml_has(by) && tr_yaml_has(at))) {
        tr_yaml_fail(y, "needs 'by' and 'at', who confirmed it and when; or 'not_done', and why it "
                        "was not");
    }
    if (tr_yaml_has(at) && !tr_time_is_valid(c->at)) {
        tr_yaml_fail(at, "is %s; give a date and a time of that day, as in 2026-11-29T08:10",
                     c->at);
    }
}

static tr_confirmation read_confirmation(tr_yaml y, const tr_precondition *of, int n_of,
                                         const char *layout) {
    char name[sizeof of->id] = "";
    tr_confirmation c = {.line = tr_yaml_line(y)};
    tr_yaml_keys(y, "id by? at? not_done?");
    tr_yaml id = tr_yaml_at(y, "id");
    tr_yaml_text(id, name, sizeof name);
    while (c.precondition < n_of && strcmp(of[c.precondition].id, name) != 0) c.precondition++;
    if (tr_yaml_has(id) && c.precondition == n_of) fail_unknown(id, name, of, n_of, layout);
    read_how(y, &c);
    return c;
}

tr_confirmation *tr_read_confirmations(tr_yaml y, const tr_precondition *of, int n_of,
                                       const char *layout, int *n) {
    tr_confirmation *all = tr_yaml_array(y, 0, TR_MAX_PRECONDITIONS, sizeof *all, n);
    for (int i = 0; i < *n && tr_yaml_has(y); i++) {
        tr_yaml item = tr_yaml_item(y, i);
        all[i] = read_confirmation(item, of, n_of, layout);
        for (int j = 0; j < i && tr_yaml_has(y); j++) {
            if (all[i].precondition != all[j].precondition) continue;
            tr_yaml_fail(tr_yaml_at(item, "id"),
                         "is %s, of which confirmed[%d] tells already; leave one out",
                         of[all[i].precondition].id, j);
        }
    }
    return all;
}
