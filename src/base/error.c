#include "base/error.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "base/language.h"

static void copy_end(char *to, size_t size, const char *from) {
    size_t n = strlen(from);
    const char *start = n < size ? from : from + (n - size + 1);
    snprintf(to, size, "%s", start);
}

static void fill(tr_error *err, tr_code code, const char *file, int line, const char *key,
                 const char *format, va_list args) TR_PRINTF(6, 0);

static void fill(tr_error *err, tr_code code, const char *file, int line, const char *key,
                 const char *format, va_list args) {
    if (!err || err->code != TR_OK) return;
    memset(err, 0, sizeof *err);
    err->code = code;
    err->line = line;
    if (file) copy_end(err->file, sizeof err->file, file);
    if (key) snprintf(err->key, sizeof err->key, "%s", key);
    vsnprintf(err->text, sizeof err->text, format, args);
}

bool tr_fail(tr_error *err, tr_code code, const char *format, ...) {
    va_list args;
    va_start(args, format);
    fill(err, code, NULL, 0, NULL, format, args);
    va_end(args);
    return false;
}

bool tr_fail_at(tr_error *err, tr_code code, const char *file, int line, const char *key,
                const char *format, ...) {
    va_list args;
    va_start(args, format);
    fill(err, code, file, line, key, format, args);
    va_end(args);
    return false;
}

bool tr_fail_memory(tr_error *err) {
    return tr_fail(err, TR_NO_MEMORY, "memory ran out; close other programs or use fewer photos");
}

void tr_error_print(const tr_error *err, char *out, size_t size) {
    char place[288] = "", text[2 * sizeof err->text];
    tr_message_translated(err->text, text, sizeof text);
    if (err->file[0] && err->line > 0) {
        snprintf(place, sizeof place, "%s:%d: ", err->file, err->line);
    } else if (err->file[0]) {
        snprintf(place, sizeof place, "%s: ", err->file);
    }
    if (err->key[0]) {
        snprintf(out, size, "%s'%s' %s", place, err->key, text);
    } else {
        snprintf(out, size, "%s%s", place, text);
    }
}
