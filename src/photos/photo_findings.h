/* What a person should know of photos before their marks are asked together. */
#ifndef TR_PHOTOS_PHOTO_FINDINGS_H
#define TR_PHOTOS_PHOTO_FINDINGS_H

#include "photos/photo_set.h"

/* Photos that cannot be used, that tell of two cameras, or that were taken far apart. The photos
   are sorted. */
TR_MUST_USE bool tr_photo_set_note(const tr_photo_set *set, tr_findings *findings, tr_error *err);
/* After tr_photo_set_count: photos that could be used, but say nothing. */
TR_MUST_USE bool tr_photo_set_note_not_used(const tr_photo_set *set, tr_findings *findings,
                                            tr_error *err);
/* Lens profiles that are taken as exact. */
TR_MUST_USE bool tr_photo_set_note_exact_lenses(const tr_photo_set *set, tr_findings *findings,
                                                tr_error *err);

#endif
