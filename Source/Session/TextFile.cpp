#include "Session/TextFile.h"

#include "Session/Files.h"

#include <cerrno>
#include <fstream>
#include <span>
#include <string>
#include <system_error>
#include <utility>
#include <vector>

namespace spillwright {

namespace fs = std::filesystem;

namespace {
constexpr std::size_t largestTextFile = std::size_t(4) << 20;
}

Outcome writeTextFile(const fs::path& path, std::string_view text) {
    std::error_code ignored;
    const auto target = fs::is_symlink(path, ignored) ? fs::weakly_canonical(path, ignored) : path;
    const bool inPlace = fs::exists(target, ignored) && !fs::is_regular_file(target, ignored);
    auto output = inPlace ? OutputFile::over(target) : OutputFile::create(target);
    if (!output) return output.fault();
    if (auto written = output->write(std::as_bytes(std::span(text))); !written) return written;
    if (inPlace) return output->close();
    if (auto finished = output->finish(); !finished) return finished;
    return output->keep();
}

Result<std::string> readTextFile(const fs::path& path, std::string_view word) {
    const auto fault = [&](const std::string& what, std::string mend) {
        return Fault{shownPath(path), "this " + std::string(word) + " " + what, std::move(mend)};
    };
    errno = 0;
    std::ifstream file(path, std::ios::binary);
    std::string text;
    std::vector<char> bytes(1 << 16);
    while (file) {
        file.read(bytes.data(), static_cast<std::streamsize>(bytes.size()));
        text.append(bytes.data(), static_cast<std::size_t>(file.gcount()));
        if (text.size() > largestTextFile) // a device or a recording, say
            return fault("cannot be one: it is larger than 4 MB", "name another file");
    }
    if (!file.eof())
        return fault("cannot be read: " + reasonOf(std::error_code(errno, std::generic_category())),
                     "check the name and the permissions");
    return text;
}

} // namespace spillwright
