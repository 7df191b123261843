/* A new job of a shop: the file that a technician would have to write, made of a layout's name and
   the vehicle's number. */
#ifndef TR_SHOP_NEW_JOB_H
#define TR_SHOP_NEW_JOB_H

#include "job/job.h"
#include "shop/shop.h"

/* Borrowed. Lists are separated by commas; NULL: not given. */
typedef struct {
    const char *layout; /* a name in the shop's folder, its id, or a path */
    const char *vehicle_id, *technician;
    const char *name;           /* of the job; NULL: the next free one, J-0001, J-0002, ... */
    const char *lenses;         /* as the layout; or "unknown"; NULL: the shop's only one */
    const char *sheets;         /* ids of further ones */
    const char *confirmed, *by; /* ids of preconditions; who confirms them, else the technician */
    char *const *photos;
    int n_photos; /* 0: those in the folder of the job's name */
} tr_new_job;

/* Writes the job's file into the shop's folder of jobs, with all that the layout needs: the sheets
   that it places, those that mark the points (the layout's own, else the shop's), the lens. Names
   are unique, also where two are made at once: a number is free that no job and no photo has. The
   file is read back before it takes its place; where that fails, none is left. Also makes the
   folder for its photos. *path is owned by the caller (free); NULL on failure. */
TR_MUST_USE bool tr_job_make(const tr_shop *shop, const tr_new_job *request, char **path,
                             tr_error *err);

#endif
