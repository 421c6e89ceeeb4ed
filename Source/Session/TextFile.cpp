#include "Session/TextFile.h"

#include <cerrno>
#include <cstring>
#include <fstream>
#include <sstream>
#include <string>

#if defined(__unix__) || defined(__APPLE__)
#include <fcntl.h>
#include <unistd.h>
#endif

namespace spillwright {

namespace {

/// Before the name is given: after a power cut the file of that name is the old one or the new one, whole.
bool reachesTheDisk(const std::filesystem::path& path) {
#if defined(__unix__) || defined(__APPLE__)
    const int file = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
    if (file < 0) return false;
    // A file system that cannot (EINVAL) has done what it can.
    const bool done = ::fsync(file) == 0 || errno == EINVAL;
    ::close(file);
    return done;
#else
    return std::filesystem::exists(path);
#endif
}

} // namespace

Outcome writeTextFile(const std::filesystem::path& path, std::string_view text) {
    namespace fs = std::filesystem;
    // A link is followed, so that it stays one; what is no file (a terminal, a pipe, a device) is written to as it is.
    std::error_code ignored;
    const auto target = fs::is_symlink(path, ignored) ? fs::weakly_canonical(path, ignored) : path;
    const bool inPlace = fs::exists(target, ignored) && !fs::is_regular_file(target, ignored);
    auto partial = target;
    if (!inPlace) partial += ".partial";
    for (int attempt = 2; !inPlace && fs::exists(fs::symlink_status(partial, ignored)); ++attempt) {
        partial = target; // another's file of this name stays what it is
        partial += ".partial" + std::to_string(attempt);
    }
    const auto fault = [&] {
        const std::string reason = std::strerror(errno);
        if (!inPlace) fs::remove(partial, ignored);
        return Fault{path.string(), "cannot be written (" + reason + ")", "choose another place or make room"};
    };
    errno = 0;
    {
        std::ofstream file(partial, std::ios::binary | std::ios::trunc);
        if (!file) return fault();
        file.write(text.data(), static_cast<std::streamsize>(text.size()));
        file.close();
        if (!file) return fault();
    }
    if (!inPlace && !reachesTheDisk(partial)) return fault();
    if (inPlace) return done();
    std::error_code error;
    fs::rename(partial, target, error);
    if (error) {
        errno = error.value();
        return fault();
    }
    return done();
}

Result<std::string> readTextFile(const std::filesystem::path& path, std::string_view word) {
    std::ifstream file(path, std::ios::binary);
    std::ostringstream text;
    if (file) text << file.rdbuf();
    if (!file)
        return Fault{path.string(), "this " + std::string(word) + " cannot be read",
                     "check the name and the permissions"};
    return text.str();
}

} // namespace spillwright
