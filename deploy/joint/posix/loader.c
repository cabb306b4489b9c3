#include "loader.h"

#include <math.h>
#include <signal.h>
#include <stddef.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

static double now_s(void)
{
    struct timespec now = {0};
    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

void loader_boot(struct loader *loader)
{
    (void)update_store_boot(&loader->store);
    loader->on_trial = update_store_on_trial(&loader->store);
    loader->program = update_store_program(&loader->store, &loader->image);
    loader->started_s = now_s();
}

bool loader_fork(struct loader *loader)
{
    const pid_t board = getpid();
    const struct sigaction usual = {.sa_handler = SIG_DFL};
    sigset_t all, before;
    (void)sigfillset(&all);
    (void)sigprocmask(SIG_BLOCK, &all, &before);
    loader->child = fork();
    if (loader->child != 0) {
        (void)sigprocmask(SIG_SETMASK, &before, NULL);
        return false;
    }
    /* What asks it to end may not be lost before it has begun: its program would not know of what was noted here. */
    (void)sigaction(SIGTERM, &usual, NULL);
    (void)sigaction(SIGINT, &usual, NULL);
    (void)sigemptyset(&all);
    (void)sigprocmask(SIG_SETMASK, &all, NULL);
    (void)prctl(PR_SET_PDEATHSIG, SIGKILL);
    if (getppid() != board) {
        _exit(1); /* the power went before that: nobody would end it */
    }
    return true;
}

/* As far as is noted now, by whichever program. */
static bool still_on_trial(const struct loader *loader)
{
    return loader->on_trial && update_store_on_trial(&loader->store);
}

enum loader_found loader_look(struct loader *loader, int *how)
{
    if (loader->child > 0 && waitpid(loader->child, how, WNOHANG) == loader->child) {
        const bool asked = WIFEXITED(*how) && WEXITSTATUS(*how) == UPDATE_RESTARTS;
        loader->child = 0;
        return asked || still_on_trial(loader) ? LOADER_RESTARTS : LOADER_ENDED;
    }
    if (!loader->on_trial || now_s() < loader->started_s + loader->watch_s) {
        return LOADER_RUNS;
    }
    loader->on_trial = still_on_trial(loader);
    return loader->on_trial ? LOADER_RESTARTS : LOADER_RUNS;
}

double loader_due_s(const struct loader *loader)
{
    return loader->on_trial ? fmax(loader->started_s + loader->watch_s - now_s(), 0) : -1;
}

void loader_end(struct loader *loader)
{
    if (loader->child > 0) {
        (void)kill(loader->child, still_on_trial(loader) ? SIGKILL : SIGTERM);
        (void)waitpid(loader->child, NULL, 0);
        loader->child = 0;
    }
}
