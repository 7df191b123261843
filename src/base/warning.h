/* Warnings: what a person should know about a measurement, in the order in which it was noticed. */
#ifndef TR_BASE_WARNING_H
#define TR_BASE_WARNING_H

#include "base/error.h"

typedef struct {
    char code[32];    /* for programs: lower-case words joined by '_' */
    char text[512];   /* for people: one or two sentences: what, and what to do */
    bool blocks_pass; /* the measurement cannot be trusted to give a pass */
} tr_warning;

/* All zero is a valid empty list. */
typedef struct {
    tr_warning *items;
    int n, capacity;
} tr_warnings;

/* Adds one; the same code and text is added only once. False: memory ran out. */
TR_MUST_USE bool tr_warn(tr_warnings *list, tr_error *err, bool blocks_pass, const char *code,
                         const char *format, ...) TR_PRINTF(5, 6);
bool tr_warnings_block_pass(const tr_warnings *list);
bool tr_warnings_have(const tr_warnings *list, const char *code);
void tr_warnings_release(tr_warnings *list);

#endif
