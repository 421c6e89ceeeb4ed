#include "Media/Files.h"

#include <atomic>
#include <cctype>
#include <cerrno>
#include <system_error>
#include <utility>

#ifdef _WIN32
#include <io.h>
#include <process.h>
#else
#include <unistd.h>
#endif

namespace spillwright {

namespace {

// The few calls that the C++ library lacks: 64-bit places in a FILE, and bytes brought to the disk.
#ifdef _WIN32
std::FILE* openFile(const std::filesystem::path& path, const char* mode) {
    return _wfopen(path.c_str(), std::filesystem::path(mode).c_str());
}
int seekTo(std::FILE* file, std::uint64_t offset) {
    return _fseeki64(file, static_cast<long long>(offset), SEEK_SET);
}
int bringToDisk(std::FILE* file) {
    return _commit(_fileno(file));
}
int processNumber() {
    return _getpid();
}
#else
std::FILE* openFile(const std::filesystem::path& path, const char* mode) {
    return std::fopen(path.c_str(), mode);
}
int seekTo(std::FILE* file, std::uint64_t offset) {
    return fseeko(file, static_cast<off_t>(offset), SEEK_SET);
}
int bringToDisk(std::FILE* file) {
    return fsync(fileno(file));
}
int processNumber() {
    return static_cast<int>(getpid());
}
#endif

std::string reason(int errorNumber) {
    return reasonOf(std::error_code(errorNumber, std::generic_category()));
}

/// Bytes of the well-formed UTF-8 character that begins the text, 0 where there is none (RFC 3629).
std::size_t characterLength(std::string_view text) {
    const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
    const unsigned char lead = byte(0);
    if (lead < 0x80) return 1;
    const std::size_t length = lead >= 0xC2 && lead <= 0xDF   ? 2
                               : (lead & 0xF0) == 0xE0        ? 3
                               : lead >= 0xF0 && lead <= 0xF4 ? 4
                                                              : 0;
    if (length == 0 || text.size() < length) return 0;
    for (std::size_t i = 1; i < length; ++i)
        if ((byte(i) & 0xC0) != 0x80) return 0;
    const unsigned char second = byte(1);
    if ((lead == 0xE0 && second < 0xA0) || (lead == 0xED && second > 0x9F) || (lead == 0xF0 && second < 0x90) ||
        (lead == 0xF4 && second > 0x8F))
        return 0;
    return length;
}

} // namespace

std::string reasonOf(std::error_code error) {
    std::string text = error.message();
    if (text.size() > 1 && text[1] >= 'a' && text[1] <= 'z') // no abbreviation
        text[0] = static_cast<char>(std::tolower(static_cast<unsigned char>(text[0])));
    return text;
}

std::filesystem::path temporaryBeside(const std::filesystem::path& target) {
    static std::atomic<unsigned> counter{0};
    return target.parent_path() /
           (".spillwright-" + std::to_string(processNumber()) + "-" + std::to_string(++counter) + ".part");
}

std::string shownText(std::string_view text, std::string_view controlsThatStay) {
    std::string shown;
    shown.reserve(text.size());
    while (!text.empty()) {
        const std::size_t length = characterLength(text);
        const bool control = length == 1 && (static_cast<unsigned char>(text[0]) < 0x20 || text[0] == 0x7F) &&
                             controlsThatStay.find(text[0]) == std::string_view::npos;
        if (length == 0 || control)
            shown += "\xEF\xBF\xBD";
        else
            shown += text.substr(0, length);
        text.remove_prefix(length == 0 ? 1 : length);
    }
    return shown;
}

std::string shownPath(const std::filesystem::path& path) {
    const std::u8string raw = path.u8string();
    return shownText({reinterpret_cast<const char*>(raw.data()), raw.size()});
}

Result<InputFile> InputFile::open(const std::filesystem::path& path) {
    const auto cannot = [&](int errorNumber) {
        return Fault{shownPath(path), "cannot be read: " + reason(errorNumber), "check the file and its permissions"};
    };
    std::error_code error;
    const auto status = std::filesystem::status(path, error);
    if (error) return cannot(error.value());
    if (std::filesystem::is_directory(status))
        return Fault{shownPath(path), "is a folder, not an audio file", "rename it or move it away"};
    // A pipe or a device would block or never end.
    if (!std::filesystem::is_regular_file(status))
        return Fault{shownPath(path), "is not a regular file", "put the audio file itself in its place"};

    InputFile input;
    errno = 0;
    input.file.reset(openFile(path, "rb"));
    if (!input.file) return cannot(errno);
    std::setvbuf(input.file.get(), nullptr, _IONBF, 0); // reads are large: no second copy
    input.bytes = std::filesystem::file_size(path, error);
    if (error) return cannot(error.value());
    return input;
}

std::size_t InputFile::readAt(std::uint64_t offset, std::span<std::byte> out) {
    if (offset != position && seekTo(file.get(), offset) != 0) return 0;
    std::clearerr(file.get()); // a file that has grown is read on
    const std::size_t got = std::fread(out.data(), 1, out.size(), file.get());
    position = offset + got;
    return got;
}

Result<OutputFile> OutputFile::create(const std::filesystem::path& target) {
    OutputFile output;
    output.targetPath = target;
    const auto temporary = temporaryBeside(target);
    errno = 0;
    output.file.reset(openFile(temporary, "wbx"));
    if (!output.file) return output.fault(errno);
    output.temporaryPath = temporary;
    return output;
}

OutputFile::OutputFile(OutputFile&& other) noexcept
    : targetPath(std::move(other.targetPath)), temporaryPath(std::exchange(other.temporaryPath, {})),
      file(std::move(other.file)), at(other.at) {}

OutputFile::~OutputFile() {
    file.reset();
    std::error_code ignored; // nothing more can be done
    if (!temporaryPath.empty()) std::filesystem::remove(temporaryPath, ignored);
}

Outcome OutputFile::write(std::span<const std::byte> bytes) {
    errno = 0;
    if (std::fwrite(bytes.data(), 1, bytes.size(), file.get()) != bytes.size()) return fault(errno);
    at += bytes.size();
    return done();
}

Outcome OutputFile::seek(std::uint64_t offset) {
    errno = 0;
    if (seekTo(file.get(), offset) != 0) return fault(errno);
    at = offset;
    return done();
}

Outcome OutputFile::finish() {
    errno = 0;
    if (std::fflush(file.get()) != 0 || bringToDisk(file.get()) != 0) return fault(errno);
    return close();
}

Outcome OutputFile::close() {
    errno = 0;
    if (std::fclose(file.release()) != 0) return fault(errno);
    return done();
}

Outcome OutputFile::keep() {
    std::error_code error;
    std::filesystem::rename(temporaryPath, targetPath, error);
    if (error) return fault(error.value());
    temporaryPath.clear();
    return done();
}

Fault OutputFile::fault(int errorNumber) const {
    const bool full = errorNumber == ENOSPC || errorNumber == EFBIG
#ifdef EDQUOT
                      || errorNumber == EDQUOT
#endif
        ;
    return {shownPath(targetPath), "cannot be written: " + reason(errorNumber),
            full ? "free some space or choose another folder" : "choose a folder that can be written to"};
}

} // namespace spillwright
