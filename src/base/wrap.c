#include "base/wrap.h"

#include <stdbool.h>
#include <stddef.h>
#include <string.h>

/* One character of UTF-8 (valid: text is cleaned before it comes here) and how long it is. */
static size_t decode(const char *s, unsigned long *code) {
    unsigned char c = (unsigned char)*s;
    size_t length = c < 0x80 ? 1 : c < 0xe0 ? 2 : c < 0xf0 ? 3 : 4;
    *code = length == 1 ? c : c & (0x7fu >> length);
    for (size_t i = 1; i < length; i++) {
        if (!s[i]) return i;
        *code = *code << 6 | ((unsigned char)s[i] & 0x3f);
    }
    return length;
}

/* Blocks of marks that join the character before, and of those that take two columns (Unicode
   Standard Annex 11, East Asian Width, W and F; by block, which is coarse but never too narrow). */
static int columns_of(unsigned long code) {
    static const struct {
        unsigned long first, last;
        int columns;
    } BLOCKS[] = {
        {0x0300, 0x036f, 0}, {0x200b, 0x200f, 0}, {0xfe00, 0xfe0f, 0},   {0x1100, 0x115f, 2},
        {0x2e80, 0xa4cf, 2}, {0xac00, 0xd7a3, 2}, {0xf900, 0xfaff, 2},   {0xfe30, 0xfe6f, 2},
        {0xff00, 0xff60, 2}, {0xffe0, 0xffe6, 2}, {0x1f300, 0x1faff, 2}, {0x20000, 0x3fffd, 2},
    };
    for (size_t i = 0; i < sizeof BLOCKS / sizeof *BLOCKS; i++) {
        if (code >= BLOCKS[i].first && code <= BLOCKS[i].last) return BLOCKS[i].columns;
    }
    return 1;
}

int tr_text_columns(const char *text) {
    int n = 0;
    while (*text) {
        unsigned long code;
        text += decode(text, &code);
        n += columns_of(code);
    }
    return n;
}

static void pad(FILE *out, int columns) {
    if (columns > 0) fprintf(out, "%*s", columns, "");
}

void tr_text_left(FILE *out, const char *text, int columns) {
    fputs(text, out);
    pad(out, columns - tr_text_columns(text));
}

void tr_text_right(FILE *out, const char *text, int columns) {
    pad(out, columns - tr_text_columns(text));
    fputs(text, out);
}

int tr_text_column(const char *head, int least) {
    int n = tr_text_columns(head) + 2;
    return n > least ? n : least;
}

/* Bytes of the longest beginning of n bytes that fits into the columns: whole characters. */
static size_t fitting(const char *text, size_t n, int columns) {
    size_t fits = 0;
    int used = 0;
    while (fits < n) {
        unsigned long code;
        size_t length = decode(text + fits, &code);
        used += columns_of(code);
        if (used > columns || fits + length > n) break;
        fits += length;
    }
    return fits;
}

static int word_columns(const char *word, size_t n) {
    int columns = 0;
    for (size_t i = 0; i < n;) {
        unsigned long code;
        i += decode(word + i, &code);
        columns += columns_of(code);
    }
    return columns;
}

static int new_line(FILE *out, int indent) {
    fprintf(out, "\n%*s", indent, "");
    return indent;
}

void tr_text_wrap(FILE *out, int column, int indent, const char *text) {
    bool is_line_empty = true;
    while (*text) {
        size_t n = strcspn(text, " ");
        int columns = word_columns(text, n);
        if (!is_line_empty && column + 1 + columns > TR_TEXT_WIDTH) {
            column = new_line(out, indent);
            is_line_empty = true;
        }
        if (!is_line_empty) {
            fputc(' ', out);
            column++;
        }
        /* A word that is wider than a line is cut. */
        while (column + columns > TR_TEXT_WIDTH) {
            unsigned long code;
            size_t fits = fitting(text, n, TR_TEXT_WIDTH - column);
            if (fits == 0) fits = decode(text, &code); /* at least one character a line */
            if (fits >= n) break;
            fwrite(text, 1, fits, out);
            text += fits;
            n -= fits;
            columns = word_columns(text, n);
            column = new_line(out, indent);
        }
        fwrite(text, 1, n, out);
        column += columns;
        is_line_empty = false;
        text += n;
        text += strspn(text, " ");
    }
    fputc('\n', out);
}

void tr_text_fit(const char *text, int columns, char *out, size_t size) {
    static const char CUT[] = "…";
    size_t n = strlen(text);
    bool fits = n < size && word_columns(text, n) <= columns;
    size_t room = size - sizeof CUT;
    if (!fits) n = fitting(text, n < room ? n : room, columns - 1);
    snprintf(out, size, "%.*s%s", (int)n, text, fits ? "" : CUT);
}
