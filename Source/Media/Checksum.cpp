#include "Media/Checksum.h"

#include "Session/Files.h"

#include <mbedtls/md.h>

#include <algorithm>
#include <array>
#include <new>
#include <vector>

namespace spillwright {

namespace {

class Sha256 {
public:
    Sha256() {
        mbedtls_md_init(&state);
        if (mbedtls_md_setup(&state, mbedtls_md_info_from_type(MBEDTLS_MD_SHA256), 0) != 0 ||
            mbedtls_md_starts(&state) != 0)
            throw std::bad_alloc();
    }
    ~Sha256() { mbedtls_md_free(&state); }
    Sha256(const Sha256&) = delete;
    Sha256& operator=(const Sha256&) = delete;

    void add(std::span<const std::byte> bytes) {
        mbedtls_md_update(&state, reinterpret_cast<const unsigned char*>(bytes.data()), bytes.size());
    }

    std::string digits() {
        std::array<unsigned char, 32> sum{};
        mbedtls_md_finish(&state, sum.data());
        std::string text;
        for (const unsigned char byte : sum)
            for (const int nibble : {byte >> 4, byte & 15})
                text += "0123456789abcdef"[nibble];
        return text;
    }

private:
    mbedtls_md_context_t state;
};

} // namespace

Result<std::string> sha256Of(const std::filesystem::path& path, const Watch& watch) {
    auto file = InputFile::open(path);
    if (!file) return file.fault();
    Sha256 sum;
    std::vector<std::byte> bytes(1 << 20);
    for (std::uint64_t at = 0; at < file->size();) {
        if (watch.stopped()) return Fault{shownPath(path), "was not summed: stopped", "", Fault::Kind::cancelled};
        const auto got = file->readAt(at, bytes);
        if (got == 0) return file->shortRead();
        sum.add({bytes.data(), got});
        at += got;
    }
    return sum.digits();
}

std::string checksumLine(const std::string& sum, const std::filesystem::path& name) {
    const auto raw = name.generic_u8string();
    std::string escaped;
    for (const char8_t c : raw) {
        const char plain = static_cast<char>(c);
        if (plain == '\n')
            escaped += "\\n";
        else if (plain == '\r')
            escaped += "\\r";
        else if (plain == '\\')
            escaped += "\\\\";
        else
            escaped += plain;
    }
    return (escaped.size() == raw.size() ? "" : "\\") + sum + "  " + escaped + "\n";
}

} // namespace spillwright
