/* A measurement made again from a record: the command's own code, with the words that it had and
   the files that it read. Each command that can be kept offers it from its module, the function
   tr_replay_NAME (of lens-check: tr_replay_lens_check). */
#ifndef TR_RECORDS_REPLAY_H
#define TR_RECORDS_REPLAY_H

#include "base/file.h"
#include "base/module.h"

/* Borrowed. */
typedef struct {
    int n_words;
    char **words; /* the command's name, then what follows it; their order may be changed */
    const tr_file_overlay *files;
    char *const *outputs; /* names of the files that it wrote, in their order */
    int n_outputs;
    const char *moment; /* as of tr_measurement; NULL where it has none */
} tr_replay;

/* *json: the result as --json prints it; owned by the caller (free). False: it could not be made;
   where nothing could be measured that is a result, too. */
typedef bool tr_replayer(const tr_replay *replay, char **json, size_t *size, tr_error *err);

TR_MODULE_EXPORT tr_replayer tr_replay_check, tr_replay_lens, tr_replay_lens_check,
    tr_replay_survey;

#endif
