/* A shop: one folder with lenses, sheets, layouts, jobs, photos and the store of records, described
   by the file trammel.yaml in it. The file's format: help/shop_file.c, which is trammel-shop(5).

   Commands look for it from the folder they work in upwards (tr_shop_find). Nothing needs a shop:
   all that is named by a path is found without one. */
#ifndef TR_SHOP_SHOP_H
#define TR_SHOP_SHOP_H

#include "base/error.h"
#include "job/usual.h"
#include "store/store.h"

#define TR_SHOP_FILE "trammel.yaml"

/* Units in which lengths are shown to people; files and JSON have mm. */
typedef enum { TR_SHOWN_IN_MM, TR_SHOWN_IN_INCHES } tr_shown_units;

/* What its folders hold. */
typedef enum {
    TR_SHOP_LENSES,
    TR_SHOP_SHEETS,
    TR_SHOP_LAYOUTS,
    TR_SHOP_JOBS,
    TR_SHOP_PHOTOS, /* one folder a job, of its name */
    TR_SHOP_N_FOLDERS
} tr_shop_folder;

/* "lenses", ... : the key of trammel.yaml, and the folder's name where that does not say. */
const char *tr_shop_folder_key(tr_shop_folder folder);

/* All zero: there is no shop. Paths are as they can be opened from the folder that the program
   works in. */
typedef struct {
    char *path;     /* of trammel.yaml; NULL: there is no shop. Owned, as all below */
    char name[128]; /* of the shop */
    tr_shown_units units;
    char language[8];         /* "en", "de" or "es"; "": as the environment says */
    char paper[8];            /* "A4" or "Letter" */
    char *store;              /* a path, or postgresql://... */
    bool keeps;               /* every result is kept, without --keep */
    bool has_files_in_folder; /* the store keeps photos in a folder, not in the database */
    char *files_folder;       /* that folder; NULL: the one beside the store's file */
    double lens_check_hours;  /* so long ago a lens may have been confirmed; 0: it is not asked */
    bool demands_lens_check;  /* a lens that was confirmed longer ago rules out a pass */
    char *folders[TR_SHOP_N_FOLDERS];
    tr_usual_reference *references; /* that new jobs get */
    int n_references;
    bool has_reference_sd;
    double reference_sd_mm; /* >= 0, one standard deviation per axis */
} tr_shop;

/* Reads a trammel.yaml. On failure err names file, line and key, and *out is empty. Folders and
   store need not be there. */
TR_MUST_USE bool tr_shop_read(const char *path, tr_shop *out, tr_error *err);

/* The shop that a folder ("": the one the program works in) lies in: of the first trammel.yaml in
   it, in the folder above it, and so on. True and *out empty (out->path is NULL) where there is
   none. False: there is one, but it cannot be read. */
TR_MUST_USE bool tr_shop_find(const char *folder, tr_shop *out, tr_error *err);
/* The same of the folder that a file lies in. */
TR_MUST_USE bool tr_shop_of_file(const char *file, tr_shop *out, tr_error *err);

void tr_shop_release(tr_shop *shop);

/* From now on people are spoken to as the shop asks that the program works in (base/language.h).
   Does nothing where there is none, or it cannot be read: whoever needs it says so. */
void tr_shop_prefer_language(void);

/* The store that a command is to open: of that path or address or, where it is NULL, the shop's;
   how it keeps its files, and where, as the shop says of its own. where is NULL where neither is
   there. Borrowed from both. */
tr_store_place tr_shop_store(const tr_shop *shop, const char *asked);

/* What is meant by a name on the command line: that file, where it is one or is named by a path;
   else the file of that name, with or without .yaml, in the shop's folder. Owned by the caller
   (free); where there is no such file, the path at which it should be. NULL: memory ran out. */
char *tr_shop_path(const tr_shop *shop, tr_shop_folder folder, const char *name, tr_error *err);

/* Is the file there that tr_shop_path found for the name? False: a name's is not, and err tells the
   names that there are. What was named by a path is left to who reads it. */
TR_MUST_USE bool tr_shop_has(const tr_shop *shop, tr_shop_folder folder, const char *name,
                             const char *path, tr_error *err);

/* tr_shop_path and tr_shop_has in the shop that the program works in, which is looked for only
   where it is needed. */
char *tr_shop_named(tr_shop_folder folder, const char *name, tr_error *err);

/* The path of a file of that name in the shop's folder, whether or not it is there. As above. */
char *tr_shop_place(const tr_shop *shop, tr_shop_folder folder, const char *file, tr_error *err);

/* The photos of a job that lists none: all photos in the folder of the job file's name below that
   of the shop's photos, in the order of their names. *photos: owned, as its items; to be released
   with tr_shop_photos_release. None, and true, where that folder is not there, or the shop is none.
 */
TR_MUST_USE bool tr_shop_photos(const tr_shop *shop, const char *job_file, char ***photos, int *n,
                                tr_error *err);
/* The same in the shop that the job's file lies in, if any; an error where that has no photos. */
TR_MUST_USE bool tr_shop_photos_of(const char *job_file, char ***photos, int *n, tr_error *err);
void tr_shop_photos_release(char **photos, int n);
/* That folder. Owned by the caller (free); NULL: memory ran out. */
char *tr_shop_photo_folder(const tr_shop *shop, const char *job_file, tr_error *err);

#endif
