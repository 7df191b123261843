/* Errors are values. A function that can fail returns false (or NULL) and fills a tr_error of the
   caller's, once: the first error, nearest its cause, wins. This is the lowest layer of the
   program; nothing here may call upwards. */
#ifndef TR_BASE_ERROR_H
#define TR_BASE_ERROR_H

#include <stdbool.h>
#include <stddef.h>

#define TR_MUST_USE __attribute__((warn_unused_result))
#define TR_PRINTF(fmt, args) __attribute__((format(printf, fmt, args)))

typedef enum {
    TR_OK = 0,
    TR_BAD_INPUT,  /* a file or an argument says something that cannot be used */
    TR_NO_FILE,    /* a file cannot be opened, read or written */
    TR_NO_MEMORY,  /* an allocation failed */
    TR_NO_MEASURE, /* the input is sound, but nothing can be measured from it */
    TR_NO_PHOTO,   /* the same, since no photo can be used; the first one's reason is to be added */
} tr_code;

/* Where and what went wrong. All zero is "no error". */
typedef struct {
    tr_code code;
    int line;       /* from 1; 0 where there is none */
    char file[256]; /* "" where there is none; a longer path keeps its end */
    char key[96];   /* path of the YAML value, for example placements[0].limits.x_mm */
    char text[384]; /* what is wrong, then what to do; one English sentence, no newline */
} tr_error;

/* Fill err and return false, so that a caller may write: return tr_fail(...).
   err may be NULL. An error already set stays as it is. */
bool tr_fail(tr_error *err, tr_code code, const char *format, ...) TR_PRINTF(3, 4);

/* The same with a place. file and key may be NULL, line 0. */
bool tr_fail_at(tr_error *err, tr_code code, const char *file, int line, const char *key,
                const char *format, ...) TR_PRINTF(6, 7);

/* Short for an allocation that failed. */
bool tr_fail_memory(tr_error *err);

/* One line: "file:12: 'key' text", the text in the user's language (base/language.h). Always ends
   with 0; cut to size. */
void tr_error_print(const tr_error *err, char *out, size_t size);

#endif
