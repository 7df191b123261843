#include "base/warning.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

bool tr_warn(tr_warnings *list, tr_error *err, bool blocks_pass, const char *code,
             const char *format, ...) {
    tr_warning w = {.blocks_pass = blocks_pass};
    va_list args;
    va_start(args, format);
    vsnprintf(w.text, sizeof w.text, format, args);
    va_end(args);
    snprintf(w.code, sizeof w.code, "%s", code);
    for (int i = 0; i < list->n; i++) {
        if (strcmp(list->items[i].code, w.code) == 0 && strcmp(list->items[i].text, w.text) == 0) {
            list->items[i].blocks_pass |= blocks_pass;
            return true;
        }
    }
    if (list->n == list->capacity) {
        int capacity = list->capacity ? 2 * list->capacity : 8;
        tr_warning *items = realloc(list->items, (size_t)capacity * sizeof *items);
        if (!items) return tr_fail_memory(err);
        list->items = items;
        list->capacity = capacity;
    }
    list->items[list->n++] = w;
    return true;
}

bool tr_warnings_block_pass(const tr_warnings *list) {
    for (int i = 0; i < list->n; i++) {
        if (list->items[i].blocks_pass) return true;
    }
    return false;
}

bool tr_warnings_have(const tr_warnings *list, const char *code) {
    for (int i = 0; i < list->n; i++) {
        if (strcmp(list->items[i].code, code) == 0) return true;
    }
    return false;
}

void tr_warnings_release(tr_warnings *list) {
    free(list->items);
    memset(list, 0, sizeof *list);
}
