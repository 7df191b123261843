/* Findings in words, and by their codes. */
#ifndef TESTS_FINDINGS_H
#define TESTS_FINDINGS_H

#include <stdio.h>
#include <string.h>

#include "present/catalogue.h"

/* Holds until the next call. */
static inline const char *finding_text(const tr_finding *finding) {
    static char text[TR_FINDING_TEXT_SIZE];
    tr_finding_text(finding, text);
    return text;
}

/* The same of a reason. */
static inline const char *reason_text(const tr_findings *reason) {
    static char text[TR_FINDING_TEXT_SIZE];
    tr_reason_text(reason->items, text);
    return text;
}

/* The first with that code; NULL: there is none. */
static inline const tr_finding *finding_of(const tr_findings *list, const char *code) {
    for (int i = 0; i < list->n; i++) {
        if (strcmp(tr_finding_code(list->items[i].kind), code) == 0) return &list->items[i];
    }
    return NULL;
}

static inline bool has_code(const tr_finding *finding, const char *code) {
    return strcmp(tr_finding_code(finding->kind), code) == 0;
}

#endif
