/* The looks at photos: from files to marks. Private to photos. */
#ifndef TR_PHOTOS_LOOKS_H
#define TR_PHOTOS_LOOKS_H

#include "photos/photo_set.h"

/* Reads all photos and measures their marks; sorts them. False: memory ran out. */
TR_MUST_USE bool tr_photo_set_look(tr_photo_set *set, const tr_workers *workers, tr_error *err);

#endif
