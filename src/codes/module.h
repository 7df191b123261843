/* What the module trammel-codes.so (codes_module.c; base/module.h) gives to the program (codes.c):
   ZBar, which few checks need. Only plain types pass; the module needs nothing of the program. */
#ifndef TR_CODES_MODULE_H
#define TR_CODES_MODULE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* A code that was read; text: size bytes, of any kind. Both hold during the call. False: stop. */
typedef bool tr_codes_found(void *context, const char *symbology, const char *text, size_t size);

/* tr_codes_module_scan: all codes of a picture; px: height rows of width grey values. False: memory
   ran out, or found said so. */
typedef bool tr_codes_scan(const uint8_t *px, int width, int height, tr_codes_found *found,
                           void *context);

#endif
