#include "Session/Files.h"

#include <algorithm>
#include <array>
#include <atomic>
#include <cctype>
#include <cerrno>
#include <charconv>
#include <limits>
#include <mutex>
#include <random>
#include <set>
#include <system_error>
#include <utility>
#include <vector>

#ifdef _WIN32
#include <io.h>
#include <process.h>
#else
#include <csignal>
#include <fcntl.h>
#include <sys/stat.h>
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
bool hasEnded(int) {
    return false; // its files stay: a number alone does not say whose it was
}
std::string numberSpace() {
    return {};
}
#else
std::FILE* openFile(const std::filesystem::path& path, const char* mode) {
    return std::fopen(path.c_str(), mode);
}
int seekTo(std::FILE* file, std::uint64_t offset) {
    return fseeko(file, static_cast<off_t>(offset), SEEK_SET);
}
int bringToDisk(std::FILE* file) {
    // A file system that cannot (EINVAL) has done what it can.
    return fsync(fileno(file)) == 0 || errno == EINVAL ? 0 : -1;
}
int processNumber() {
    return static_cast<int>(getpid());
}
bool hasEnded(int process) {
    return kill(process, 0) != 0 && errno == ESRCH;
}
/// What a process number holds for: the machine, and on it what keeps numbers of its own (a container).
std::string numberSpace() {
    std::array<char, 256> host{};
    if (gethostname(host.data(), host.size() - 1) != 0) host[0] = '\0';
    std::error_code ignored;
    return host.data() + std::filesystem::read_symlink("/proc/self/ns/pid", ignored).string();
}
#endif

constexpr std::string_view part = ".part";

/// How the hidden names of this process begin, up to its number.
const std::string& hiddenStem() {
    static const std::string stem = [] {
        std::uint64_t hash = 0xcbf29ce484222325; // FNV-1a
        for (const char c : numberSpace())
            hash = (hash ^ static_cast<unsigned char>(c)) * 0x100000001b3;
        std::array<char, 16> digits{};
        const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), hash >> 32, 16).ptr;
        return ".spillwright-" + std::string(digits.data(), end) + "-";
    }();
    return stem;
}

#ifdef _WIN32
constexpr auto notAllowed = std::filesystem::perms::none;
#else
/// What the user's files are not to be allowed. Read before there are threads: it can only be read by setting it.
const std::filesystem::perms notAllowed = [] {
    const auto mask = umask(S_IRWXG | S_IRWXO);
    umask(mask);
    return static_cast<std::filesystem::perms>(mask);
}();
#endif

std::filesystem::perms usual(bool folder) {
    return (folder ? std::filesystem::perms::all
                   : std::filesystem::perms::all &
                         ~(std::filesystem::perms::owner_exec | std::filesystem::perms::group_exec |
                           std::filesystem::perms::others_exec)) &
           ~notAllowed;
}

/// A new file that only this user may read or write. nullptr, and errno: it cannot be made, or the name is taken.
std::FILE* createPrivate(const std::filesystem::path& path) {
#ifdef _WIN32
    return _wfopen(path.c_str(), L"wbx"); // a folder's files are its user's there
#else
    const int file = ::open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, S_IRUSR | S_IWUSR);
    if (file < 0) return nullptr;
    std::FILE* stream = fdopen(file, "wb");
    if (!stream) ::close(file);
    return stream;
#endif
}

std::filesystem::path hiddenBeside(const std::filesystem::path& target, std::string_view ending) {
    static std::atomic<unsigned> counter{0};
    std::random_device random;
    std::array<char, 24> secret{};
    std::snprintf(secret.data(), secret.size(), "-%08x%08x", random(), random());
    std::string name = hiddenStem() + std::to_string(processNumber()) + "-" + std::to_string(++counter) + secret.data();
    return target.parent_path() / name.append(ending);
}

/// Of the same machine, of a process that is no more.
bool isLeftOver(const std::string& name) {
    const std::string& stem = hiddenStem();
    if (!name.starts_with(stem) || !name.ends_with(part)) return false;
    int process = 0;
    const auto [end, error] = std::from_chars(name.data() + stem.size(), name.data() + name.size(), process);
    return error == std::errc() && *end == '-' && process > 0 && hasEnded(process);
}

/// Removes what runs that were killed have left in a folder; once a folder, as it takes a look at every file there.
void removeLeftOvers(const std::filesystem::path& folder) {
    namespace fs = std::filesystem;
    static std::mutex one;
    static std::set<fs::path> seen;
    std::error_code ignored;
    {
        const std::lock_guard lock(one);
        if (!seen.insert(fs::absolute(folder, ignored)).second) return;
    }
    std::vector<fs::path> old;
    for (fs::directory_iterator entry(folder.empty() ? "." : folder, ignored), end; entry != end && !ignored;
         entry.increment(ignored))
        if (isLeftOver(entry->path().filename().string())) old.push_back(entry->path());
    for (const auto& path : old)
        fs::remove_all(path, ignored);
}

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

/// Of a well-formed character of so many bytes.
char32_t codePoint(std::string_view text, std::size_t length) {
    const auto lead = static_cast<unsigned char>(text[0]);
    if (length == 1) return lead;
    char32_t code = lead & (0x7Fu >> length);
    for (std::size_t i = 1; i < length; ++i)
        code = code << 6 | (static_cast<unsigned char>(text[i]) & 0x3Fu);
    return code;
}

/// Nothing that a person could read: controls (C0, C1), line and paragraph separators, embeddings, overrides and
/// isolates of direction (Unicode Bidirectional Algorithm), noncharacters.
bool unreadable(char32_t code) {
    return code < 0x20 || (code >= 0x7F && code <= 0x9F) || (code >= 0x2028 && code <= 0x202E) ||
           (code >= 0x2066 && code <= 0x2069) || (code >= 0xFDD0 && code <= 0xFDEF) || (code & 0xFFFE) == 0xFFFE;
}

} // namespace

std::string reasonOf(std::error_code error) {
    std::string text = error.message();
    if (text.size() > 1 && text[1] >= 'a' && text[1] <= 'z') // no abbreviation
        text[0] = static_cast<char>(std::tolower(static_cast<unsigned char>(text[0])));
    return text;
}

std::filesystem::path temporaryBeside(const std::filesystem::path& target) {
    removeLeftOvers(target.parent_path());
    return hiddenBeside(target, part);
}

std::filesystem::path asideOf(const std::filesystem::path& target) {
    return hiddenBeside(target, ".old");
}

std::error_code createPrivateFolder(const std::filesystem::path& path) {
#ifdef _WIN32
    std::error_code error;
    if (!std::filesystem::create_directory(path, error) && !error) error = std::make_error_code(std::errc::file_exists);
    return error;
#else
    return ::mkdir(path.c_str(), S_IRWXU) == 0 ? std::error_code() : std::error_code(errno, std::generic_category());
#endif
}

void makeOwnFolder(const std::filesystem::path& path) {
    std::error_code ignored; // who cannot write there says so
    std::filesystem::create_directories(path.parent_path(), ignored);
    createPrivateFolder(path);
}

std::error_code takeName(const std::filesystem::path& temporary, const std::filesystem::path& target) {
    std::error_code error;
    const auto old = std::filesystem::status(target, error);
    const bool folder = std::filesystem::is_directory(temporary, error);
    std::filesystem::permissions(
        temporary, !folder && std::filesystem::is_regular_file(old) ? old.permissions() : usual(folder), error);
    std::filesystem::rename(temporary, target, error); // a file system without permissions has files all the same
    return error;
}

std::string shownText(std::string_view text, std::string_view controlsThatStay) {
    std::string shown;
    shown.reserve(text.size());
    while (!text.empty()) {
        const std::size_t length = characterLength(text);
        const bool stays = length == 1 && controlsThatStay.find(text[0]) != std::string_view::npos;
        if (length == 0 || (!stays && unreadable(codePoint(text, length))))
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
    input.shown = shownPath(path);
    return input;
}

std::size_t InputFile::readAt(std::uint64_t offset, std::span<std::byte> out) {
    std::clearerr(file.get()); // a file that has grown is read on
    errno = 0;
    std::size_t got = 0;
    const bool there = offset == position || seekTo(file.get(), offset) == 0;
    if (there) got = std::fread(out.data(), 1, out.size(), file.get());
    if ((!there || std::ferror(file.get()) != 0) && !failed)
        failed = Fault{shown, "cannot be read: " + reason(errno), "check the disk and try again"};
    position = there ? offset + got : std::numeric_limits<std::uint64_t>::max(); // to be sought again
    return got;
}

Fault InputFile::shortRead() const {
    return failed.value_or(
        Fault{shown, "was cut short or taken away while it was read", "restore it and open the recording again"});
}

Result<OutputFile> OutputFile::create(const std::filesystem::path& target) {
    OutputFile output;
    output.targetPath = target;
    const auto temporary = temporaryBeside(target);
    errno = 0;
    output.file.reset(createPrivate(temporary));
    if (!output.file) return output.fault(errno);
    output.temporaryPath = temporary;
    return output;
}

Result<OutputFile> OutputFile::over(const std::filesystem::path& device) {
    OutputFile output;
    output.targetPath = device;
    errno = 0;
    output.file.reset(openFile(device, "wb"));
    if (!output.file) return output.fault(errno);
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
    if (const auto error = takeName(temporaryPath, targetPath)) return fault(error.value());
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
