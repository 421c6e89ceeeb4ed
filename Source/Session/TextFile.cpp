#include "Session/TextFile.h"

#include <cerrno>
#include <cstring>
#include <fstream>

namespace spillwright {

Outcome writeTextFile(const std::filesystem::path& path, std::string_view text) {
    auto partial = path;
    partial += ".partial";
    const auto fault = [&] {
        const std::string reason = std::strerror(errno);
        std::error_code ignored;
        std::filesystem::remove(partial, ignored);
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
    std::error_code error;
    std::filesystem::rename(partial, path, error);
    if (error) {
        errno = error.value();
        return fault();
    }
    return done();
}

} // namespace spillwright
