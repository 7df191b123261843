/* Text that came from outside: whether it can stand in a file or a message, and how to show it
   where it cannot. */
#ifndef TR_BASE_TEXT_H
#define TR_BASE_TEXT_H

#include <stdbool.h>
#include <stddef.h>

/* The size bytes are UTF-8 (RFC 3629) without control characters, that is, one printable line. */
bool tr_text_is_line(const char *text, size_t size);

/* They are UTF-8 (RFC 3629), whatever characters, but no 0. */
bool tr_text_is_utf8(const char *text, size_t size);

/* The same bytes as far as they fit into out: '?' for each that is no part of a printable
   character,
   "..." where it had to be cut. Ends with 0; out_size >= 8. */
void tr_text_show(const char *text, size_t size, char *out, size_t out_size);

#endif
