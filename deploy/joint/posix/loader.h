/* A board's loader and its watchdog, for a board that is a process: at each start it chooses which firmware runs, and it
 * starts anew where that asks for it, or was tried in vain. */
#ifndef LOADER_H
#define LOADER_H

#include <stdbool.h>
#include <sys/types.h>

#include "image.h"
#include "update_store.h"

#define LOADER_WATCH_S 130 /* a little longer than what runs on trial has by itself */

struct loader {
    struct update_store store; /* opened by its owner */
    double watch_s;            /* after which firmware on trial that has not confirmed itself is ended */
    /* Since the start: */
    const char *program;          /* the path of the firmware that runs; null for what came by the cable */
    struct uj_image_header image; /* of that, where it came by an update */
    bool on_trial;                /* for all that was looked at since */
    pid_t child;                  /* its process, 0 for none */
    double started_s;
};

/* The start's own step. Where nothing can be noted, what is confirmed runs. */
void loader_boot(struct loader *loader);

/* Makes a process for the firmware; true in that one, which becomes it. It dies with its loader. */
bool loader_fork(struct loader *loader);

enum loader_found {
    LOADER_RUNS,
    LOADER_RESTARTS, /* as it asked for, or it was tried in vain: end it, and start */
    LOADER_ENDED     /* by itself, which nobody asked for */
};

/* What became of the firmware; `*how` as of waitpid, where it has ended. */
enum loader_found loader_look(struct loader *loader, int *how);

/* Seconds until it must be looked at, whether or not it ends before; negative for never. */
double loader_due_s(const struct loader *loader);

/* Ends the firmware and waits until it has: with a goodbye, but on trial, where it may be of any kind. */
void loader_end(struct loader *loader);

#endif
