/* What the files of a job and of a survey have in common. Values of an open file, as in
   base/yaml.h: what is wrong with them is told when that is closed. Private to job and survey. */
#ifndef TR_JOB_READ_H
#define TR_JOB_READ_H

#include "base/yaml.h"
#include "lens/lens.h"
#include "sheet/sheet.h"

/* y is the path of a lens profile, which is read. */
void tr_read_lens(tr_yaml y, tr_lens *lens);

/* y is a list of at most TR_MAX_PHOTOS paths, none twice. The paths as they can be opened, n, owned
   by the caller, as is each. */
char **tr_read_photos(tr_yaml y, int *n);

/* y is the id of one of n sheets: its index; 0, and the error set, where there is none. */
int tr_read_sheet_name(tr_yaml y, const tr_sheet *sheets, int n);

#endif
