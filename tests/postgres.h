/* A PostgreSQL server for a test or a benchmark: Debian's package, in a temporary folder, on a
   socket there, and stopped at the end. The server refuses to run as root; then it runs as the user
   of the package, "postgres". */
#ifndef TR_TESTS_POSTGRES_H
#define TR_TESTS_POSTGRES_H

#include <dirent.h>
#include <pwd.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

typedef struct {
    char folder[64];   /* data, log, socket */
    char programs[64]; /* folder of initdb, pg_ctl, ... */
    char where[160];   /* postgresql://... of the user postgres, who may do everything */
} postgres_server;

/* The newest of /usr/lib/postgresql/VERSION/bin that has a server; false: there is none. */
static inline bool postgres_find(char out[64]) {
    long newest = 0;
    DIR *dir = opendir("/usr/lib/postgresql");
    if (!dir) return false;
    for (const struct dirent *entry; (entry = readdir(dir)) != NULL;) {
        char path[64];
        long version = strtol(entry->d_name, NULL, 10);
        snprintf(path, sizeof path, "/usr/lib/postgresql/%ld/bin", version);
        char server[80];
        snprintf(server, sizeof server, "%s/postgres", path);
        if (version <= newest || access(server, X_OK) != 0) continue;
        newest = version;
        memcpy(out, path, sizeof path);
    }
    closedir(dir);
    return newest > 0;
}

/* Runs a command line of the shell; its status, or -1. */
static inline int postgres_shell(const char *line) {
    int status;
    fflush(NULL);
    pid_t child = fork();
    if (child < 0) return -1;
    if (child == 0) {
        execl("/bin/sh", "sh", "-c", line, (char *)NULL);
        _exit(127);
    }
    return waitpid(child, &status, 0) == child && WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

/* Runs a command line of the server's programs as the user that the server has. Its status. */
static inline int postgres_run(const postgres_server *s, const char *command) {
    char line[1024];
    const char *as = geteuid() == 0 ? "runuser -u postgres --" : "env";
    snprintf(line, sizeof line,
             "cd '%s' && %s env -u PGHOST -u PGPORT LC_ALL=C '%s'/%s >>'%s/out' 2>&1", s->folder,
             as, s->programs, command, s->folder);
    return postgres_shell(line);
}

/* "-m fast" ends sessions, "-m immediate" is as if the machine had stopped. */
static inline bool postgres_halt(const postgres_server *s, const char *mode) {
    char command[256];
    snprintf(command, sizeof command, "pg_ctl -D '%s/data' -w %s stop", s->folder, mode);
    return postgres_run(s, command) == 0;
}

static inline bool postgres_launch(const postgres_server *s) {
    char command[512];
    snprintf(command, sizeof command,
             "pg_ctl -D '%s/data' -w -l '%s/log' -o \"-c listen_addresses='' -k '%s'\" start",
             s->folder, s->folder, s->folder);
    return postgres_run(s, command) == 0;
}

static inline void postgres_stop(postgres_server *s) {
    char command[128];
    if (!s->folder[0]) return;
    (void)postgres_halt(s, "-m fast");
    snprintf(command, sizeof command, "rm -rf '%s'", s->folder);
    if (postgres_shell(command) != 0) fprintf(stderr, "%s: not removed\n", s->folder);
    s->folder[0] = 0;
}

/* False: it is not installed, or does not start; then nothing is left behind. */
static inline bool postgres_start(postgres_server *s) {
    char command[256];
    memset(s, 0, sizeof *s);
    if (!postgres_find(s->programs)) return false;
    const char *base = getenv("TMPDIR");
    snprintf(s->folder, sizeof s->folder, "%.30s/trammel-pg-XXXXXX", base ? base : "/tmp");
    if (!mkdtemp(s->folder)) return false;
    const struct passwd *user = geteuid() == 0 ? getpwnam("postgres") : NULL;
    bool ok = geteuid() != 0 || (user && chown(s->folder, user->pw_uid, user->pw_gid) == 0);
    snprintf(command, sizeof command, "initdb -D '%s/data' -U postgres -E UTF8 --locale=C -A trust",
             s->folder);
    ok = ok && postgres_run(s, command) == 0 && postgres_launch(s);
    snprintf(s->where, sizeof s->where, "postgresql://postgres@/postgres?host=%s", s->folder);
    if (!ok) {
        snprintf(command, sizeof command, "cat '%s/out' '%s/log' >&2", s->folder, s->folder);
        if (postgres_shell(command) != 0) fprintf(stderr, "no log\n");
        postgres_stop(s);
    }
    return ok;
}

/* A new, empty database of the name; its address goes to where. */
static inline bool postgres_make(const postgres_server *s, const char *name, char where[160]) {
    char command[256];
    snprintf(command, sizeof command, "createdb -h '%s' -U postgres '%s'", s->folder, name);
    snprintf(where, 160, "postgresql://postgres@/%.40s?host=%.64s", name, s->folder);
    return postgres_run(s, command) == 0;
}

#endif
