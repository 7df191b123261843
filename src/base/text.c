#include "base/text.h"

#include <stdio.h>
#include <string.h>

/* Length and code of the character of UTF-8 that begins at s, with n > 0 bytes left; 0: none. */
static size_t decode(const unsigned char *s, size_t n, unsigned long *of) {
    static const unsigned long FIRST[] = {0, 0, 0x80, 0x800, 0x10000}; /* of each length */
    *of = s[0];
    if (s[0] < 0x80) return s[0] != 0 ? 1 : 0;
    size_t length = s[0] >= 0xf0 ? 4 : s[0] >= 0xe0 ? 3 : 2;
    if (s[0] < 0xc2 || s[0] > 0xf4 || length > n) return 0;
    unsigned long code = s[0] & (0x7fu >> length);
    for (size_t i = 1; i < length; i++) {
        if ((s[i] & 0xc0) != 0x80) return 0;
        code = code << 6 | (s[i] & 0x3f);
    }
    bool is_surrogate = code >= 0xd800 && code <= 0xdfff;
    *of = code;
    return code >= FIRST[length] && code <= 0x10ffff && !is_surrogate ? length : 0;
}

/* The same of a printable one. */
static size_t character_length(const unsigned char *s, size_t n) {
    unsigned long code;
    size_t length = decode(s, n, &code);
    bool is_control = code < 0x20 || (code >= 0x7f && code < 0xa0); /* C0, delete, C1 */
    return is_control ? 0 : length;
}

bool tr_text_is_utf8(const char *text, size_t size) {
    for (size_t i = 0; i < size;) {
        unsigned long code;
        size_t length = decode((const unsigned char *)text + i, size - i, &code);
        if (length == 0) return false;
        i += length;
    }
    return true;
}

bool tr_text_is_line(const char *text, size_t size) {
    for (size_t i = 0; i < size;) {
        size_t length = character_length((const unsigned char *)text + i, size - i);
        if (length == 0) return false;
        i += length;
    }
    return true;
}

void tr_text_show(const char *text, size_t size, char *out, size_t out_size) {
    size_t n = 0;
    size_t i = 0;
    /* Room is kept for the widest character, "..." and the final 0. */
    while (i < size && n + 8 <= out_size) {
        size_t length = character_length((const unsigned char *)text + i, size - i);
        if (length == 0) {
            out[n++] = '?';
            i++;
        } else {
            memcpy(out + n, text + i, length);
            n += length;
            i += length;
        }
    }
    snprintf(out + n, out_size - n, "%s", i < size ? "..." : "");
}
