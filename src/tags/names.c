#include "tags/names.h"

#include <string.h>

#define ROW(name, size) {#name, size},
static const struct {
    const char *name;
    int size;
} FAMILIES[] = {TR_TAG_FAMILIES(ROW)};
#undef ROW

enum { N_FAMILIES = sizeof FAMILIES / sizeof *FAMILIES };

int tr_tag_family_size(const char *family) {
    for (int k = 0; k < N_FAMILIES; k++) {
        if (strcmp(family, FAMILIES[k].name) == 0) return FAMILIES[k].size;
    }
    return 0;
}
