#include "base/finding.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

static const struct {
    const char *name, *code;
    bool blocks_pass;
    const char *arguments;
} TABLE[TR_N_FINDINGS] = {
#define ROW(NAME, code, blocks_pass, arguments) {#NAME, code, blocks_pass, arguments},
    TR_FINDINGS(ROW)
#undef ROW
};

const char *tr_finding_code(tr_finding_kind kind) {
    return TABLE[kind].code;
}

const char *tr_finding_name(tr_finding_kind kind) {
    return TABLE[kind].name;
}

tr_finding_kind tr_finding_kind_of(const char *name) {
    tr_finding_kind kind = 0;
    while (kind < TR_N_FINDINGS && strcmp(TABLE[kind].name, name) != 0) kind++;
    return kind;
}

bool tr_finding_blocks_pass(tr_finding_kind kind) {
    return TABLE[kind].blocks_pass;
}

int tr_finding_arguments(tr_finding_kind kind, tr_argument out[TR_MAX_ARGUMENTS]) {
    int n = 0;
    const char *at = TABLE[kind].arguments;
    memset(out, 0, TR_MAX_ARGUMENTS * sizeof *out);
    for (const char *conversion; n < TR_MAX_ARGUMENTS && (conversion = strstr(at, "=%")); n++) {
        tr_argument *a = &out[n];
        bool is_list = conversion - at > 2 && strncmp(conversion - 2, "[]", 2) == 0;
        memcpy(a->name, at, (size_t)(conversion - at) - (is_list ? 2 : 0));
        a->type = is_list                ? TR_ARGUMENT_LIST
                  : conversion[2] == 's' ? TR_ARGUMENT_TEXT
                  : conversion[2] == 'p' ? TR_ARGUMENT_PART
                  : conversion[2] == 'd' ? TR_ARGUMENT_INTEGER
                                         : TR_ARGUMENT_NUMBER;
        at = conversion + 3 + strspn(conversion + 3, " ");
    }
    return n;
}

static bool has_text(const tr_argument *a) {
    return a->type == TR_ARGUMENT_TEXT || a->type == TR_ARGUMENT_LIST;
}

void tr_finding_release(tr_finding *f) {
    for (int i = 0; i < TR_MAX_ARGUMENTS; i++) {
        tr_argument *a = &f->arguments[i];
        free(a->text);
        if (a->part) tr_finding_release(a->part);
        free(a->part);
    }
}

static bool is_same(const tr_finding *a, const tr_finding *b) {
    if (a->kind != b->kind) return false;
    for (int i = 0; i < TR_MAX_ARGUMENTS; i++) {
        const tr_argument *x = &a->arguments[i];
        const tr_argument *y = &b->arguments[i];
        if (has_text(x) ? strcmp(x->text, y->text) != 0 : x->number != y->number) return false;
        if (x->part && y->part ? !is_same(x->part, y->part) : x->part != y->part) return false;
    }
    return true;
}

/* Puts copies in the place of what the arguments borrow. False: memory ran out; then, too, nothing
   is borrowed any more. */
static bool own_arguments(tr_finding *f) {
    bool ok = true;
    for (int i = 0; i < TR_MAX_ARGUMENTS; i++) {
        tr_argument *a = &f->arguments[i];
        const tr_finding *part = a->part;
        if (has_text(a)) ok = (a->text = strdup(a->text)) && ok;
        if (!part) continue;
        a->part = malloc(sizeof *part);
        if (a->part) *a->part = *part;
        ok = a->part && own_arguments(a->part) && ok;
    }
    return ok;
}

/* Takes the finding over, or releases it. */
static bool append(tr_findings *list, tr_finding *f, tr_error *err) {
    for (int i = 0; i < list->n; i++) {
        if (!is_same(&list->items[i], f)) continue;
        tr_finding_release(f);
        return true;
    }
    if (list->n == list->capacity) {
        int capacity = list->capacity ? 2 * list->capacity : 8;
        tr_finding *items = realloc(list->items, (size_t)capacity * sizeof *items);
        if (!items) {
            tr_finding_release(f);
            return tr_fail_memory(err);
        }
        list->items = items;
        list->capacity = capacity;
    }
    list->items[list->n++] = *f;
    return true;
}

bool tr_findings_add(tr_finding_kind kind, const char *arguments, tr_findings *list, tr_error *err,
                     ...) {
    (void)arguments; /* is the kind's; it is for the compiler */
    tr_finding f = {.kind = kind};
    int n = tr_finding_arguments(kind, f.arguments);
    va_list values;
    va_start(values, err);
    for (int i = 0; i < n; i++) {
        tr_argument *a = &f.arguments[i];
        switch (a->type) {
        case TR_ARGUMENT_NUMBER: a->number = va_arg(values, double); break;
        case TR_ARGUMENT_INTEGER: a->number = va_arg(values, int); break;
        case TR_ARGUMENT_TEXT:
        case TR_ARGUMENT_LIST: a->text = va_arg(values, char *); break;
        case TR_ARGUMENT_PART: a->part = va_arg(values, void *); break;
        }
    }
    va_end(values);
    return tr_findings_copy(&f, list, err);
}

bool tr_findings_copy(const tr_finding *finding, tr_findings *list, tr_error *err) {
    tr_finding f = *finding;
    if (own_arguments(&f)) return append(list, &f, err);
    tr_finding_release(&f);
    return tr_fail_memory(err);
}

bool tr_findings_block_pass(const tr_findings *list) {
    for (int i = 0; i < list->n; i++) {
        if (tr_finding_blocks_pass(list->items[i].kind)) return true;
    }
    return false;
}

bool tr_findings_have(const tr_findings *list, tr_finding_kind kind) {
    for (int i = 0; i < list->n; i++) {
        if (strcmp(TABLE[list->items[i].kind].code, TABLE[kind].code) == 0) return true;
    }
    return false;
}

bool tr_findings_copy_all(const tr_findings *from, tr_findings *list, tr_error *err) {
    for (int i = 0; i < from->n; i++) {
        if (!tr_findings_copy(&from->items[i], list, err)) return false;
    }
    return true;
}

void tr_findings_release(tr_findings *list) {
    for (int i = 0; i < list->n; i++) tr_finding_release(&list->items[i]);
    free(list->items);
    memset(list, 0, sizeof *list);
}

bool tr_items_add(char **list, const char *item, tr_error *err) {
    size_t used = *list && **list ? strlen(*list) + 1 : 0;
    size_t size = strlen(item) + 1;
    char *longer = realloc(*list, used + size);
    if (!longer) return tr_fail_memory(err);
    if (used > 0) longer[used - 1] = '\n';
    memcpy(longer + used, item, size);
    *list = longer;
    return true;
}
