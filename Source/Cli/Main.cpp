#include "Cli/CommandLine.h"
#include "Media/SpectraCache.h"

#include <iostream>
#include <thread>

#ifdef _WIN32
#include <io.h>
static bool errorIsTerminal() {
    return _isatty(2) != 0;
}
static void stopOnSignal(const std::stop_source&) {}
#else
#include <csignal>
#include <unistd.h>
static bool errorIsTerminal() {
    return isatty(STDERR_FILENO) != 0;
}
/// An interrupted command leaves nothing half-written: the signal asks the work to stop, and the work tidies up.
static void stopOnSignal(const std::stop_source& stop) {
    sigset_t signals;
    sigemptyset(&signals);
    sigaddset(&signals, SIGINT);
    sigaddset(&signals, SIGTERM);
    pthread_sigmask(SIG_BLOCK, &signals, nullptr);
    std::thread([signals, stop]() mutable {
        int received = 0;
        sigwait(&signals, &received);
        stop.request_stop();
    }).detach();
}
#endif

int main(int count, char** words) {
    std::stop_source stop;
    stopOnSignal(stop);
    const auto cache = spillwright::usualCacheFolder();
    return spillwright::runCommandLine({words + 1, words + count}, std::cout, std::cerr,
                                       cache.empty() ? cache : cache / "spectra", errorIsTerminal(), stop.get_token());
}
