#pragma once

#include "Media/AudioFile.h"
#include "Media/WriteAudio.h"
#include "Session/Files.h"

namespace spillwright {

/// FLAC by the format's own library. (JUCE's reader passes silence for what is missing or damaged and says nothing.)
/// The end of the stream is sought at opening, so that a file cut short is known by then.
Result<std::unique_ptr<AudioFileReader>> openFlac(InputFile file, const std::filesystem::path& path);

/// 16 or 24 bit, up to 8 channels.
Result<std::unique_ptr<AudioFileWriter>> createFlac(OutputFile file, const AudioFileFormat& format);

} // namespace spillwright
