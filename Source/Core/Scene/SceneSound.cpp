#include "Core/Scene/SceneSound.h"

#include "Core/RandomStream.h"
#include "Core/Scene/Acoustics.h"
#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"
#include "Core/Signal/HighPass.h"

#include <Eigen/Core>

#include <algorithm>
#include <bit>
#include <cassert>

namespace spillwright {

namespace {

using Samples = AlignedVector<float>;
using Bins = AlignedVector<std::complex<float>>;

void addProduct(Bins& sum, const Bins& a, const Bins& b) {
    const auto view = [](const Bins& x) {
        return Eigen::Map<const Eigen::ArrayXcf>(x.data(), static_cast<Eigen::Index>(x.size()));
    };
    Eigen::Map<Eigen::ArrayXcf>(sum.data(), static_cast<Eigen::Index>(sum.size())) += view(a) * view(b);
}

} // namespace

struct SceneSound::Contents {
    Scene scene;
    int responseLength = 0; ///< The longest of all rooms; shorter responses are followed by zeros.
    std::int64_t length = 0;
    std::shared_ptr<const Fourier> transform;
    int hop = 0; ///< Samples that one block yields (overlap-save).
    int blocks = 0;
    std::vector<std::vector<Bins>> dry; ///< [source][block]

    static int longestResponse(const Scene& scene) {
        int longest = 0;
        for (const auto& room : scene.rooms)
            longest = std::max(longest, spillwright::responseLength(room, scene.sampleRate));
        return longest;
    }

    explicit Contents(const Scene& s)
        : scene(s), responseLength(longestResponse(s)),
          transform(Fourier::ofLength(static_cast<int>(std::bit_ceil(4u * static_cast<unsigned>(responseLength))))) {
        hop = transform->length() - responseLength + 1;
    }

    Samples silence() const { return Samples(static_cast<std::size_t>(transform->length())); }
    Bins noBins() const { return Bins(static_cast<std::size_t>(transform->binCount())); }

    Bins transformDry(const std::vector<float>& part, int block) const {
        // Output n of a block needs the dry part from n + lead - (responseLength - 1) to n + lead.
        const std::int64_t start =
            static_cast<std::int64_t>(block) * hop + ImpulseResponse::lead - (responseLength - 1);
        const std::int64_t first = std::max<std::int64_t>(0, start);
        const std::int64_t last = std::min(static_cast<std::int64_t>(part.size()), start + transform->length());
        Samples signal = silence();
        if (first < last) std::copy(part.begin() + first, part.begin() + last, signal.begin() + (first - start));
        Bins spectrum = noBins();
        transform->forward(signal.data(), spectrum.data());
        return spectrum;
    }

    /// The sources in a microphone, without faults.
    std::vector<float> hear(std::span<const int> sources, int microphone) const {
        std::vector<Bins> sums(static_cast<std::size_t>(blocks), noBins());
        Samples signal = silence();
        Bins response = noBins();
        for (int source : sources) {
            const ImpulseResponse impulse = impulseResponse(scene, source, microphone);
            std::fill(signal.begin(), signal.end(), 0.0f);
            const float scale = 1.0f / static_cast<float>(transform->length());
            std::transform(impulse.samples.begin(), impulse.samples.end(), signal.begin(),
                           [scale](float sample) { return scale * sample; });
            transform->forward(signal.data(), response.data());
            for (std::size_t block = 0; block < sums.size(); ++block)
                addProduct(sums[block], dry[static_cast<std::size_t>(source)][block], response);
        }
        std::vector<float> heard(static_cast<std::size_t>(length));
        for (int block = 0; block < blocks; ++block) {
            transform->inverse(sums[static_cast<std::size_t>(block)].data(), signal.data());
            const std::int64_t start = static_cast<std::int64_t>(block) * hop;
            const auto count = std::min<std::int64_t>(hop, length - start);
            std::copy_n(signal.begin() + responseLength - 1, count, heard.begin() + start);
        }
        return heard;
    }

    void addSelfNoise(int microphone, std::vector<float>& sound) const {
        RandomStream random(scene.seed * 1000003 + static_cast<std::uint64_t>(microphone));
        const double rms = amplitudeOfDecibels(scene.microphones[static_cast<std::size_t>(microphone)].selfNoise.value);
        for (float& sample : sound)
            sample += static_cast<float>(rms * random.bell());
    }

    void applyFaults(int microphone, std::vector<float>& sound) const {
        const MicrophoneFaults& faults = scene.microphones[static_cast<std::size_t>(microphone)].faults;
        if (faults.highPass)
            HighPass(*faults.highPass, scene.sampleRate).process(sound.data(), static_cast<int>(sound.size()));
        const auto shift = std::min<std::size_t>(static_cast<std::size_t>(std::abs(faults.lateSamples)), sound.size());
        if (faults.lateSamples > 0) {
            std::shift_right(sound.begin(), sound.end(), static_cast<std::ptrdiff_t>(shift));
            std::fill_n(sound.begin(), shift, 0.0f);
        } else if (faults.lateSamples < 0) {
            std::shift_left(sound.begin(), sound.end(), static_cast<std::ptrdiff_t>(shift));
            std::fill_n(sound.rbegin(), shift, 0.0f);
        }
        if (faults.inverted)
            for (float& sample : sound)
                sample = -sample;
    }
};

SceneSound::SceneSound(const Scene& scene, std::span<const std::vector<float>> dryParts, Workers& workers) {
    assert(dryParts.size() == scene.sources.size());
    auto made = std::make_unique<Contents>(scene);
    for (const auto& part : dryParts)
        made->length = std::max(made->length, static_cast<std::int64_t>(part.size()));
    made->blocks = static_cast<int>((made->length + made->hop - 1) / made->hop);
    const auto blocks = static_cast<std::size_t>(made->blocks);
    made->dry.assign(dryParts.size(), std::vector<Bins>(blocks));
    workers.forEach(dryParts.size() * blocks, [&](std::size_t item, int) {
        const std::size_t source = item / blocks;
        const std::size_t block = item % blocks;
        made->dry[source][block] = made->transformDry(dryParts[source], static_cast<int>(block));
    });
    contents = std::move(made);
}

SceneSound::~SceneSound() = default;

std::vector<float> SceneSound::track(int microphone) const {
    const Scene& scene = contents->scene;
    std::vector<int> heard;
    for (std::size_t source = 0; source < scene.sources.size(); ++source)
        if (scene.sources[source].room == scene.microphones[static_cast<std::size_t>(microphone)].room)
            heard.push_back(static_cast<int>(source));
    std::vector<float> sound = contents->hear(heard, microphone);
    contents->addSelfNoise(microphone, sound);
    contents->applyFaults(microphone, sound);
    return sound;
}

std::vector<float> SceneSound::part(int source, int microphone) const {
    const Scene& scene = contents->scene;
    if (scene.sources[static_cast<std::size_t>(source)].room !=
        scene.microphones[static_cast<std::size_t>(microphone)].room)
        return std::vector<float>(static_cast<std::size_t>(contents->length));
    std::vector<float> sound = contents->hear(std::span(&source, 1), microphone);
    contents->applyFaults(microphone, sound);
    return sound;
}

std::vector<float> SceneSound::selfNoise(int microphone) const {
    std::vector<float> sound(static_cast<std::size_t>(contents->length));
    contents->addSelfNoise(microphone, sound);
    contents->applyFaults(microphone, sound);
    return sound;
}

} // namespace spillwright
