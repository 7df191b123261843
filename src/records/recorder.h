/* What keeps a measurement while it is made: it observes which files are read (base/file.h), puts
   their bytes into the store at once, so that nobody need hold the photos of a large job, and in
   the end appends the record that names them.

   A measurement that is not kept in the end leaves bytes in the store that no record names. They
   do no harm, and the next record of the same photos takes them up.

   These functions stand in the module of `trammel records`, so that a command that keeps nothing
   does not load a database's library; who needs them asks base/module.h for them. */
#ifndef TR_RECORDS_RECORDER_H
#define TR_RECORDS_RECORDER_H

#include "base/file.h"
#include "base/module.h"
#include "store/store.h"

typedef struct tr_recorder tr_recorder;

/* The verdict of a check in which nothing could be measured. */
#define TR_RECORD_NOT_MEASURED "no measurement"

/* What is known of a measurement when it is over; borrowed. Texts are UTF-8, "" where there is
   nothing to say. */
typedef struct {
    const char *kind; /* the command: "check", "lens", ... */
    const char *job, *vehicle, *technician, *verdict;
    const char *const *sheets; /* names */
    int n_sheets;
    const char *const *words; /* the command's words with which it is made again (replay.h) */
    int n_words;
    const char *result; /* the JSON as --json prints it, with its newline */
    size_t result_size;
    const char *shop;   /* its name; NULL or "": measured in none */
    const char *moment; /* a JSON object: what is not of the files (replay.h), or NULL */
} tr_measurement;

/* Opens the store, or makes it. One that is opened for reading only keeps nothing, and hashes all
   that is read but photos. made_at: when, as of a record; now where it is NULL. NULL on failure. */
typedef tr_recorder *tr_recorder_opener(const tr_store_place *place, const char *made_at,
                                        tr_error *err);
TR_MODULE_EXPORT tr_recorder_opener tr_recorder_open;

/* The observer to be given to tr_file_observe; valid until the recorder is closed. What goes wrong
   while it observes is told by tr_recorder_keep. */
typedef const tr_file_observer *tr_recorder_observing(tr_recorder *recorder);
TR_MODULE_EXPORT tr_recorder_observing tr_recorder_observer;

/* A file that came out of the measurement, beside its result. */
typedef bool tr_recorder_adder(tr_recorder *recorder, const char *role, const char *name,
                               const void *data, size_t size, tr_error *err);
TR_MODULE_EXPORT tr_recorder_adder tr_recorder_add;

/* SHA-256 of the file that was read under this role, the i-th of them; NULL: there is none. Valid
   until the next file is read. */
typedef const char *tr_recorder_hash_finder(tr_recorder *recorder, const char *role, int i);
TR_MODULE_EXPORT tr_recorder_hash_finder tr_recorder_hash;

/* Keeps it. True: the record is in the store, for good; then its number and hash are told. */
typedef bool tr_recorder_keeper(tr_recorder *recorder, const tr_measurement *measurement,
                                int64_t *number, char hash[TR_HASH_SIZE], tr_error *err);
TR_MODULE_EXPORT tr_recorder_keeper tr_recorder_keep;

/* When the lens profile with this SHA-256 was last made, confirmed or found to differ, as far as
   the store's records tell: made_at of the record of the highest number of kind "lens" that made
   it, or "lens-check" that agreed or, then *differs is true, did not; "" where there is none. */
typedef bool tr_recorder_confirmation_finder(tr_recorder *recorder, const char *sha256,
                                             char made_at[TR_TIME_SIZE], bool *differs,
                                             tr_error *err);
TR_MODULE_EXPORT tr_recorder_confirmation_finder tr_recorder_confirmation;

typedef void tr_recorder_closer(tr_recorder *recorder);
TR_MODULE_EXPORT tr_recorder_closer tr_recorder_close;

#endif
