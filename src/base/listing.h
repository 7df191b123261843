/* What lies in a folder, by name. */
#ifndef TR_BASE_LISTING_H
#define TR_BASE_LISTING_H

#include <stdbool.h>

/* It ends in .yaml or .yml, whatever their case, and is not that alone. */
bool tr_name_is_yaml(const char *name);

/* The names in a folder ("": the one the program works in) that are wanted, in the order of their
   bytes, which is that of no locale. How many there are; *names: owned, to be released by
   tr_listing_release. -1, and errno says why: it cannot be read. */
int tr_listing(const char *folder, bool (*is_wanted)(const char *name), char ***names);
void tr_listing_release(char **names, int n);

#endif
