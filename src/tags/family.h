/* Tag families: which cells of a tag are white. The bit tables are libapriltag's. */
#ifndef TR_TAGS_FAMILY_H
#define TR_TAGS_FAMILY_H

#include <stdbool.h>

#include "base/error.h"

struct apriltag_family;

/* The widest tag of any family, with its rim. */
enum { TR_TAG_MAX_CELLS = 16 };

/* One tag as its family's official image shows it: cells x cells, row by row from the top left.
   The square whose corners the detector reports has border cells a side and the same centre. */
typedef struct {
    int cells;
    int border;
    bool is_white[TR_TAG_MAX_CELLS][TR_TAG_MAX_CELLS]; /* [row][column] */
} tr_tag_pattern;

/* A family by its name ("tag36h11"), NULL where it is not known or memory ran out (err says which).
   Owned by the caller: tr_tag_family_free. */
struct apriltag_family *tr_tag_family_new(const char *name, tr_error *err);
void tr_tag_family_free(struct apriltag_family *family);

/* False for an id that the family does not have. */
bool tr_tag_pattern_make(const struct apriltag_family *family, int id, tr_tag_pattern *out);

#endif
