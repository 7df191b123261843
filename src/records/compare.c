#include "records/compare.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { NAME_SIZE = sizeof((tr_value_pair *)NULL)->name };

/* What is found while walking through one result: {NAME: [value, u95]}, in its order. */
typedef struct {
    json_t *values;
    bool ok;
} found;

static void note(found *f, const char *name, double value, double u95) {
    json_t *pair = json_pack("[f, f]", value, u95);
    f->ok = f->ok && pair && json_object_set_new(f->values, name, pair) == 0;
}

/* What an item of a list is called: by what it is about, or else by its number. */
static void print_item(const char *above, size_t i, const json_t *item, char *out, size_t size) {
    static const char *const KEYS[] = {"sheet", "mark", "length", "point", "name"};
    for (size_t k = 0; k < sizeof KEYS / sizeof *KEYS; k++) {
        const char *text = json_string_value(json_object_get(item, KEYS[k]));
        if (!text) continue;
        snprintf(out, size, "%.100s.%.50s", above, text);
        return;
    }
    snprintf(out, size, "%.100s.%zu", above, i);
}

static void note_numbers(found *f, const char *name, const json_t *values, const json_t *u95,
                         double factor) {
    char item[NAME_SIZE];
    size_t i;
    const json_t *value;
    if (json_is_number(values) && json_is_number(u95))
        note(f, name, json_number_value(values), factor * json_number_value(u95));
    if (!json_is_array(values) || json_array_size(values) != json_array_size(u95)) return;
    json_array_foreach(values, i, value) {
        snprintf(item, sizeof item, "%.150s.%zu", name, i);
        note_numbers(f, item, value, json_array_get(u95, i), factor);
    }
}

/* An object's own values: {measured, u95}, and those of a survey's mark. */
static void note_object(found *f, const char *name, const json_t *object) {
    static const char *const PAIRS[][2] = {
        {"centre_mm", "u95_mm"}, {"turn_deg", "turn_u95_deg"}, {"edges_mm", "edges_u95_mm"}};
    char item[NAME_SIZE];
    note_numbers(f, name, json_object_get(object, "measured"), json_object_get(object, "u95"), 1);
    for (size_t k = 0; k < sizeof PAIRS / sizeof *PAIRS; k++) {
        snprintf(item, sizeof item, "%.120s.%s", name, PAIRS[k][0]);
        note_numbers(f, item, json_object_get(object, PAIRS[k][0]),
                     json_object_get(object, PAIRS[k][1]), 1);
    }
}

/* NOLINTNEXTLINE(misc-no-recursion): a result is some six levels deep */
static void walk(found *f, const char *name, const json_t *json) {
    char inner[NAME_SIZE];
    size_t i;
    const char *key;
    const json_t *value;
    if (json_is_object(json)) note_object(f, name, json);
    json_array_foreach(json, i, value) {
        print_item(name, i, value, inner, sizeof inner);
        if (json_is_object(value)) walk(f, inner, value);
    }
    if (!json_is_object(json)) return;
    for (void *at = json_object_iter((json_t *)json); at;
         at = json_object_iter_next((json_t *)json, at)) {
        key = json_object_iter_key(at);
        value = json_object_iter_value(at);
        if (!json_is_object(value) && !json_is_array(value)) continue;
        snprintf(inner, sizeof inner, "%.100s%s%.50s", name, *name ? "." : "", key);
        walk(f, inner, value);
    }
}

/* Of a lens the standard deviations stand in one list. */
static void note_lens(found *f, const json_t *result) {
    static const char *const KEYS[] = {"fx_px", "fy_px", "cx_px", "cy_px"};
    static const char *const TERMS[] = {"k1", "k2", "p1", "p2", "k3"};
    const json_t *sd = json_object_get(result, "sd");
    for (size_t k = 0; k < 4; k++)
        note_numbers(f, KEYS[k], json_object_get(result, KEYS[k]), json_array_get(sd, k), 2);
    for (size_t k = 0; k < 5; k++)
        note_numbers(f, TERMS[k], json_array_get(json_object_get(result, "distortion"), k),
                     json_array_get(sd, 4 + k), 2);
}

static bool find_values(const json_t *result, json_t **values, tr_error *err) {
    found f = {.values = json_object(), .ok = true};
    f.ok = f.values != NULL;
    if (f.ok) walk(&f, "", result);
    if (f.ok) note_lens(&f, result);
    *values = f.values;
    return f.ok || tr_fail_memory(err);
}

/* ---- both ---- */

static double number_at(const json_t *pair, size_t i) {
    return json_number_value(json_array_get(pair, i));
}

static bool add_pair(const char *name, const json_t *older, const json_t *newer, tr_comparison *out,
                     tr_error *err) {
    tr_value_pair *grown = realloc(out->items, ((size_t)out->n + 1) * sizeof *grown);
    if (!grown) return tr_fail_memory(err);
    out->items = grown;
    tr_value_pair *pair = &grown[out->n++];
    *pair = (tr_value_pair){.has = {older, newer},
                            .value = {number_at(older, 0), number_at(newer, 0)},
                            .u95 = number_at(older ? older : newer, 1)};
    snprintf(pair->name, sizeof pair->name, "%s", name);
    return true;
}

static bool is_same(const json_t *a, const json_t *b) {
    return number_at(a, 0) == number_at(b, 0);
}

static bool compare_values(json_t *older, json_t *newer, tr_comparison *out, tr_error *err) {
    const char *name;
    json_t *value;
    json_object_foreach(older, name, value) {
        const json_t *now = json_object_get(newer, name);
        out->n_all++;
        if (now && is_same(value, now)) continue;
        if (!add_pair(name, value, now, out, err)) return false;
    }
    json_object_foreach(newer, name, value) {
        if (json_object_get(older, name)) continue;
        out->n_all++;
        if (!add_pair(name, NULL, value, out, err)) return false;
    }
    return true;
}

static void copy_verdict(const json_t *result, char out[32]) {
    const char *verdict = json_string_value(json_object_get(result, "verdict"));
    snprintf(out, 32, "%s", verdict ? verdict : "");
}

bool tr_results_compare(const json_t *older, const json_t *newer, tr_comparison *out,
                        tr_error *err) {
    json_t *values[2] = {NULL, NULL};
    memset(out, 0, sizeof *out);
    copy_verdict(older, out->verdict[0]);
    copy_verdict(newer, out->verdict[1]);
    bool ok = find_values(older, &values[0], err) && find_values(newer, &values[1], err) &&
              compare_values(values[0], values[1], out, err);
    json_decref(values[0]);
    json_decref(values[1]);
    return ok;
}

void tr_comparison_release(tr_comparison *comparison) {
    free(comparison->items);
    memset(comparison, 0, sizeof *comparison);
}

double tr_pair_share(const tr_value_pair *pair) {
    if (!pair->has[0] || !pair->has[1]) return INFINITY;
    double difference = fabs(pair->value[1] - pair->value[0]);
    return difference > 0 ? difference / pair->u95 : 0;
}

bool tr_comparison_agrees(const tr_comparison *comparison) {
    bool agrees = strcmp(comparison->verdict[0], comparison->verdict[1]) == 0;
    for (int i = 0; i < comparison->n; i++)
        agrees = agrees && tr_pair_share(&comparison->items[i]) <= 1;
    return agrees;
}
