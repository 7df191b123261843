/* A new shop, from the starter kit. */
#ifndef TR_SHOP_MAKE_H
#define TR_SHOP_MAKE_H

#include "base/error.h"

/* Where the prints lie in a new shop. */
#define TR_SHOP_PRINTS "prints"

/* Borrowed; NULL: as the kit has it. */
typedef struct {
    const char *name, *units, *language, *paper; /* as in trammel.yaml */
} tr_new_shop;

/* Makes the folder, or fills it where it is there and empty: trammel.yaml, as the kit has it but
   for what is given, the folders that it names, the kit's sheets and layouts, and its prints.
   Refuses a folder that is not empty, or lies in a shop. trammel.yaml comes last, and a folder
   without it is no shop; where anything fails, what was made is taken away again. */
TR_MUST_USE bool tr_shop_make(const char *folder, const char *kit, const tr_new_shop *request,
                              tr_error *err);

/* The starter kit: of the program as it is installed, or as it was built. Owned by the caller
   (free); NULL: there is none, or memory ran out. */
char *tr_shop_find_kit(tr_error *err);

#endif
