/* A board without a cable: one joint's program, and the firmware that comes in its place by updates. For software joints;
 * it moves nothing. `unisono simulate` starts one for each joint in C where there is a key that signs firmware. */
#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "loader.h"

#define CODE_FAILED 1
#define CODE_WRONG_INPUT 2
#define CODE_KILLED 128 /* and the signal */
#define MOST 4194304    /* the largest process id of Linux, or 48 days */

static struct loader loader = {.watch_s = LOADER_WATCH_S};
static const char *folder;
static long parent; /* 0: of nobody who is to be left Ctrl-C */

static _Noreturn void help(void)
{
    printf("A board that starts a joint's program, and firmware that comes in its place. It moves nothing real.\n\n"
           "  loader [OPTION VALUE]... PROGRAM WORD...\n\n"
           "  --folder       where firmware is kept; PROGRAM gets it as --updates\n"
           "  --watch        seconds after which firmware on trial that answered nobody is ended; %d\n"
           "  --with-parent  process that starts it: ends with it, leaves Ctrl-C to it\n\n"
           "It ends with the code of a joint that ends unasked, and with %d and the signal for one that was killed.\n",
           LOADER_WATCH_S, CODE_KILLED);
    exit(0);
}

static _Noreturn void refuse(const char *what, const char *why)
{
    fprintf(stderr, "loader: %s %s\n", what, why);
    exit(CODE_WRONG_INPUT);
}

static double number(const char *option, const char *text, double low)
{
    char *end;
    const double value = strtod(text, &end);
    if (end == text || *end != '\0' || !(value >= low && value <= MOST)) {
        char why[96];
        (void)snprintf(why, sizeof why, "is '%.20s', but must be a number from %g to %d", text, low, MOST);
        refuse(option, why);
    }
    return value;
}

/* The joint's program and its words, which end with a null pointer. */
static char **read_options(char **words)
{
    char **word = words + 1;
    while (*word != NULL && strncmp(*word, "--", 2) == 0) {
        const char *const option = word[0];
        const char *const value = word[1];
        if (strcmp(option, "--help") == 0) {
            help();
        }
        if (value == NULL) {
            refuse(option, "needs a value");
        }
        if (strcmp(option, "--folder") == 0) {
            folder = value;
        } else if (strcmp(option, "--watch") == 0) {
            loader.watch_s = number(option, value, 0);
        } else if (strcmp(option, "--with-parent") == 0) {
            parent = (long)number(option, value, 1);
        } else {
            refuse(option, "is no option; see --help");
        }
        word += 2;
    }
    if (folder == NULL || *word == NULL) {
        refuse("--folder and PROGRAM", "are needed");
    }
    return word;
}

static void leave_interrupts(void)
{
    const struct sigaction ignore = {.sa_handler = SIG_IGN};
    if (parent > 0) {
        (void)sigaction(SIGINT, &ignore, NULL);
    }
}

static _Noreturn void be_joint(char **words)
{
    char own[16];
    size_t count = 0;
    while (words[count] != NULL) {
        count++;
    }
    char **all = calloc(count + 5, sizeof *all);
    if (all == NULL) {
        _exit(CODE_FAILED);
    }
    (void)snprintf(own, sizeof own, "%ld", (long)getppid());
    char *const mine[] = {"--updates", (char *)(uintptr_t)folder, "--with-parent", own};
    memcpy(all, words, count * sizeof *all);
    memcpy(all + count, mine, sizeof mine);
    leave_interrupts();
    if (loader.program != NULL) {
        all[0] = (char *)(uintptr_t)loader.program;
    }
    (void)execv(all[0], all);
    fprintf(stderr, "loader: %s: %s\n", all[0], strerror(errno));
    _exit(CODE_FAILED);
}

/* Signals are taken where it waits, and at no other time. */
static void hold_signals(sigset_t *held)
{
    (void)sigemptyset(held);
    (void)sigaddset(held, SIGCHLD);
    (void)sigaddset(held, SIGTERM);
    if (parent == 0) {
        (void)sigaddset(held, SIGINT);
    }
    (void)sigprocmask(SIG_BLOCK, held, NULL);
    leave_interrupts();
    if (parent > 0) {
        (void)prctl(PR_SET_PDEATHSIG, SIGKILL);
        if (getppid() != parent) {
            exit(CODE_FAILED); /* it is gone already */
        }
    }
}

/* Whether it is asked to end. Else there is something to be looked at. */
static bool wait_for(const sigset_t *held)
{
    const double due_s = loader_due_s(&loader);
    const struct timespec most = {.tv_sec = (time_t)due_s, .tv_nsec = (long)((due_s - (double)(time_t)due_s) * 1e9)};
    const int found = sigtimedwait(held, NULL, due_s < 0 ? NULL : &most);
    return found == SIGTERM || found == SIGINT;
}

static int serve(char **words, const sigset_t *held)
{
    int how = 0;
    for (;;) {
        if (!update_store_open(&loader.store, folder)) {
            return CODE_WRONG_INPUT;
        }
        loader_boot(&loader);
        if (loader_fork(&loader)) {
            be_joint(words);
        }
        if (loader.child < 0) {
            fprintf(stderr, "loader: no process for the joint: %s\n", strerror(errno));
            return CODE_FAILED;
        }
        enum loader_found found = LOADER_RUNS;
        while (found == LOADER_RUNS) {
            if (wait_for(held)) {
                loader_end(&loader);
                return 0;
            }
            found = loader_look(&loader, &how);
        }
        if (found == LOADER_ENDED) {
            return WIFEXITED(how) ? WEXITSTATUS(how) : CODE_KILLED + WTERMSIG(how);
        }
        loader_end(&loader);
    }
}

int main(int count, char **words)
{
    sigset_t held;
    (void)count;
    char **joint = read_options(words);
    hold_signals(&held);
    return serve(joint, &held);
}
