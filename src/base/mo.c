#include "base/mo.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"

/* ---- the file ---- */

static const uint32_t MAGIC = 0x950412de;
enum { LARGEST = 16 << 20, HEAD_SIZE = 28 };

static uint32_t word_at(const tr_mo *mo, size_t at) {
    uint32_t word;
    memcpy(&word, mo->data + at, sizeof word);
    return word;
}

/* A table's string; NULL where it does not lie in the file, with a zero behind it. */
static const char *string_at(const tr_mo *mo, uint32_t table, uint32_t i) {
    size_t length = word_at(mo, table + 8 * (size_t)i);
    size_t place = word_at(mo, table + 8 * (size_t)i + 4);
    if (place >= mo->size || length >= mo->size - place || mo->data[place + length] != 0)
        return NULL;
    return (const char *)mo->data + place;
}

static bool is_sound(const tr_mo *mo) {
    if (mo->size < HEAD_SIZE || word_at(mo, 0) != MAGIC) return false;
    size_t most = mo->size / 8;
    if (mo->n > most || mo->keys > mo->size - 8 * (size_t)mo->n ||
        mo->texts > mo->size - 8 * (size_t)mo->n) {
        return false;
    }
    for (uint32_t i = 0; i < mo->n; i++) {
        if (!string_at(mo, mo->keys, i) || !string_at(mo, mo->texts, i)) return false;
    }
    return true;
}

bool tr_mo_read(const char *path, tr_mo *mo) {
    tr_error err = {0};
    memset(mo, 0, sizeof *mo);
    if (!tr_file_read(path, LARGEST, &mo->data, &mo->size, &err)) return false;
    if (mo->size >= HEAD_SIZE) {
        mo->n = word_at(mo, 8);
        mo->keys = word_at(mo, 12);
        mo->texts = word_at(mo, 16);
    }
    if (is_sound(mo)) return true;
    free(mo->data);
    memset(mo, 0, sizeof *mo);
    return false;
}

const char *tr_mo_find(const tr_mo *mo, const char *english) {
    uint32_t low = 0;
    uint32_t high = mo->n;
    while (low < high) { /* the keys are sorted */
        uint32_t middle = low + (high - low) / 2;
        int order = strcmp(english, string_at(mo, mo->keys, middle));
        if (order == 0) return *english ? string_at(mo, mo->texts, middle) : NULL;
        if (order < 0)
            high = middle;
        else
            low = middle + 1;
    }
    return NULL;
}

/* ---- printed texts ---- */

enum { MOST_VALUES = 16, DEEPEST = 9, VALUE_SIZE = 512 };

typedef struct {
    const char *at;
    size_t n;
} part;

/* A conversion at a '%': its length and its letter; n$ in position (0: there is none). */
static size_t conversion_length(const char *format, char *letter, int *position) {
    size_t digits = strspn(format + 1, "0123456789");
    size_t n = 1;
    *position = 0;
    if (digits > 0 && format[1 + digits] == '$') {
        *position = format[digits] - '0'; /* no format has ten values or more */
        n += digits + 1;
    }
    n += strspn(format + n, "-+ #0123456789.*");
    n += strspn(format + n, "hljzt");
    *letter = format[n];
    return format[n] ? n + 1 : n;
}

/* The most bytes of text that a conversion of that letter can have printed. */
static size_t longest_value(const char *text, char letter) {
    if (letter == 's') return strlen(text);
    if (letter == 'c') return *text != 0;
    return strspn(text, strchr("diu", letter) ? "+-0123456789" : "+-0123456789.einfa");
}

/* Bytes that a format prints whatever its values. */
static size_t own_bytes(const char *format) {
    size_t n = 0;
    while (*format) {
        char letter;
        int position;
        bool is_conversion = *format == '%' && format[1] != '%';
        n += !is_conversion;
        format += is_conversion    ? conversion_length(format, &letter, &position)
                  : *format == '%' ? 2
                                   : 1;
    }
    return n;
}

/* Whether text is what format prints. values: of each conversion, in their order; each as short as
   it can be. */
static bool match(const char *format, const char *text, part *values, int n_values) {
    while (*format && (*format != '%' || format[1] == '%')) {
        if (*format != *text) return false;
        format += *format == '%' ? 2 : 1;
        text++;
    }
    if (!*format) return !*text;
    char letter;
    int position;
    size_t length = conversion_length(format, &letter, &position);
    if (n_values >= MOST_VALUES) return false;
    size_t longest = longest_value(text, letter);
    for (size_t n = letter == 's' ? 0 : 1; n <= longest; n++) {
        values[n_values] = (part){text, n};
        if (match(format + length, text + n, values, n_values + 1)) return true;
    }
    return false;
}

typedef struct {
    char *text;
    size_t size, n;
} line;

static void append(line *l, const char *text, size_t n) {
    size_t room = l->size - 1 - l->n;
    if (n > room) n = room;
    memcpy(l->text + l->n, text, n);
    l->n += n;
    l->text[l->n] = 0;
}

static bool reprint(const tr_mo *mo, const char *printed, int depth, char *out, size_t size);

static void append_value(const tr_mo *mo, part value, char letter, int depth, line *l) {
    char text[VALUE_SIZE], translated[VALUE_SIZE];
    bool may_be_text = letter == 's' && value.n < sizeof text && memchr(value.at, ' ', value.n);
    if (may_be_text) {
        memcpy(text, value.at, value.n);
        text[value.n] = 0;
        if (reprint(mo, text, depth + 1, translated, sizeof translated)) {
            append(l, translated, strlen(translated));
            return;
        }
    }
    append(l, value.at, value.n);
}

static void fill_in(const tr_mo *mo, const char *format, const part *values, int depth, char *out,
                    size_t size) {
    line l = {out, size, 0};
    int next = 0;
    out[0] = 0;
    while (*format) {
        size_t n = strcspn(format, "%");
        append(&l, format, n);
        format += n;
        if (!*format) break;
        if (format[1] == '%') {
            append(&l, "%", 1);
            format += 2;
            continue;
        }
        char letter;
        int position;
        format += conversion_length(format, &letter, &position);
        int i = position > 0 ? position - 1 : next++;
        if (i < MOST_VALUES) append_value(mo, values[i], letter, depth, &l);
    }
}

/* The format that printed the text, and its values; mo->n: there is none. */
static uint32_t find_format(const tr_mo *mo, const char *printed, part best[MOST_VALUES]) {
    enum { LEAST_OWN = 4 }; /* what has fewer bytes of its own would fit by chance */
    uint32_t found = mo->n;
    size_t most = LEAST_OWN - 1;
    for (uint32_t i = 0; i < mo->n; i++) {
        const char *format = string_at(mo, mo->keys, i);
        part values[MOST_VALUES] = {{NULL, 0}};
        size_t n_own = own_bytes(format);
        if (!strchr(format, '%') || n_own <= most || !match(format, printed, values, 0)) continue;
        most = n_own;
        found = i;
        memcpy(best, values, sizeof values);
    }
    return found;
}

static bool reprint(const tr_mo *mo, const char *printed, int depth, char *out, size_t size) {
    part values[MOST_VALUES] = {{NULL, 0}};
    const char *exact = tr_mo_find(mo, printed);
    if (exact) {
        snprintf(out, size, "%s", exact);
        return true;
    }
    uint32_t format = depth < DEEPEST ? find_format(mo, printed, values) : mo->n;
    if (format == mo->n) return false;
    fill_in(mo, string_at(mo, mo->texts, format), values, depth, out, size);
    return true;
}

bool tr_mo_reprint(const tr_mo *mo, const char *printed, char *out, size_t size) {
    return reprint(mo, printed, 0, out, size);
}
