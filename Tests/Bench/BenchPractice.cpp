// What following a hand in the practice room costs, on one core, and what its callback does, against their floors.

#include "Audition/PracticeSum.h"
#include "Bench/ThreadClock.h"
#include "Core/Scene/PracticeSounds.h"
#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"

#include <Eigen/Core>

#include <bit>
#include <complex>
#include <cstdio>
#include <memory>
#include <string>
#include <vector>

using namespace spillwright;
using namespace spillwright::bench;

namespace {

constexpr double rate = 48000.0;

PracticeRoom roomWith(int microphones, Point size, double absorption) {
    PracticeRoom room;
    room.size = size;
    room.absorption.fill(absorption);
    room.decay = Seconds(0.5);
    room.source = {0.3 * size.x, 0.5 * size.y, 0.4 * size.z};
    for (int index = 0; index < microphones; ++index)
        room.microphones.push_back({"m" + std::to_string(index),
                                    {0.5 * size.x + 0.1 * index, 0.4 * size.y + 0.1 * index, 0.5 * size.z},
                                    {},
                                    {}});
    return room;
}

/// Nothing but the multiply-adds of every reflection's band-limited tap, 64 each, and the transforms there and back.
double floorMicroseconds(const Scene& scene, int microphones) {
    const auto& room = scene.rooms[0];
    const auto heard =
        images(room, scene.sources[0], scene.microphones[0], Metres(room.decay.value * speedOfSound(room.temperature)));
    const int length = responseLength(room, rate);
    const auto transform = Fourier::ofLength(static_cast<int>(std::bit_ceil(static_cast<unsigned>(length))));
    AlignedVector<float> response(static_cast<std::size_t>(transform->length()));
    AlignedVector<std::complex<float>> bins(static_cast<std::size_t>(transform->binCount()));
    const Eigen::Array<float, 64, 1> tap = Eigen::Array<float, 64, 1>::Random();
    Times times;
    for (int round = 0; round < 15; ++round)
        times.each.push_back(microseconds([&] {
            for (int microphone = 0; microphone < microphones; ++microphone) {
                for (const Image& image : heard) {
                    const auto place = static_cast<std::size_t>(image.distance / speedOfSound(room.temperature) * rate);
                    Eigen::Map<Eigen::Array<float, 64, 1>>(response.data() + place) += 0.01f * tap;
                }
                transform->forward(response.data(), bins.data());
                transform->inverse(bins.data(), response.data());
            }
        }));
    return times.at(0.5);
}

void drag(const char* what, int microphones, Point size, double absorption, bool all) {
    PracticeRoom room = roomWith(microphones, size, absorption);
    PracticeAcoustics acoustics(rate);
    PracticeSum sum(rate);
    sum.setSound(std::make_shared<const std::vector<float>>(practiceSound(PracticeSound::drums, rate)));
    Times follow, read, hear, rest;
    acoustics.follow(room, Detail::resting);
    for (int step = 0; step < 15; ++step) {
        (all ? room.source.y : room.microphones[0].position.y) += 0.01;
        follow.each.push_back(microseconds([&] { acoustics.follow(room, Detail::moving); }));
        const auto& responses = acoustics.follow(room, Detail::moving);
        hear.each.push_back(microseconds([&] { sum.hear(responses); }));
        read.each.push_back(microseconds([&] { readingOf(room, responses); }));
    }
    for (int step = 0; step < 3; ++step) {
        (all ? room.source.y : room.microphones[0].position.y) += 0.01;
        rest.each.push_back(microseconds([&] { acoustics.follow(room, Detail::resting); }));
    }
    const double floor = floorMicroseconds(sceneOf(room, rate, Detail::moving), all ? microphones : 1);
    const double each = follow.at(0.5) + hear.at(0.5) + read.at(0.5);
    std::printf("%-34s %d microphones: %5.1f ms (%3.0f a second): responses %5.1f (%4.2f x the floor), sound %4.1f, "
                "plots %5.1f; at rest %5.1f\n",
                what, microphones, 1e-3 * each, 1e6 / each, 1e-3 * follow.at(0.5), follow.at(0.5) / floor,
                1e-3 * hear.at(0.5), 1e-3 * read.at(0.5), 1e-3 * rest.at(0.5));
}

void callbacks() {
    PracticeRoom room = roomWith(3, {7.0, 6.0, 3.0}, 0.2);
    PracticeAcoustics acoustics(rate);
    PracticeSum sum(rate);
    sum.setSound(std::make_shared<const std::vector<float>>(practiceSound(PracticeSound::drums, rate)));
    sum.hear(acoustics.follow(room, Detail::resting));
    sum.play();
    constexpr int block = PracticeSum::block;
    const double blockMicroseconds = 1e6 * block / rate;
    std::vector<float> left(block), right(block);
    Times still, moving;
    for (int round = 0; round < 1500; ++round) {
        const bool moves = round >= 750;
        if (moves && round % 6 == 0) {
            room.microphones[0].position.y += 1e-3;
            sum.hear(acoustics.follow(room, Detail::moving));
        }
        (moves ? moving : still).each.push_back(microseconds([&] { sum.render(left.data(), right.data(), block); }));
    }
    // The floor: multiplying and adding the spectra of both sides, and their transforms.
    const std::size_t bins = block + 8,
                      parts = (acoustics.follow(room, Detail::resting).left.size() + block - 1) / block;
    AlignedVector<std::complex<float>> past(parts * bins, {0.5f, 0.1f}), part(past), product(bins);
    AlignedVector<float> signal(2 * block);
    const auto transform = Fourier::ofLength(2 * block);
    using Row = Eigen::Map<const Eigen::ArrayXcf, Eigen::Aligned64>;
    const auto count = static_cast<Eigen::Index>(bins);
    Times floor;
    for (int round = 0; round < 300; ++round)
        floor.each.push_back(microseconds([&] {
            transform->forward(signal.data(), product.data());
            for (int side = 0; side < 2; ++side) {
                Eigen::Map<Eigen::ArrayXcf, Eigen::Aligned64> total(product.data(), count);
                for (std::size_t at = 0; at < parts * bins; at += bins)
                    total += Row(past.data() + at, count) * Row(part.data() + at, count);
                transform->inverse(product.data(), signal.data());
            }
        }));
    std::printf(
        "callback, 3 microphones, %zu parts: %4.2f %% of real time standing (%4.2f x the floor), %4.2f %% moving "
        "(99.9 %%: %4.2f)\n",
        parts, 100.0 * still.at(0.5) / blockMicroseconds, still.at(0.5) / floor.at(0.5),
        100.0 * moving.at(0.5) / blockMicroseconds, 100.0 * moving.at(0.999) / blockMicroseconds);
}

} // namespace

int main() {
    std::printf("The floor of the responses: the multiply-adds of every reflection's tap, and a transform there and "
                "back.\n");
    for (const int microphones : {2, 3, 8}) {
        drag("without walls, the source", microphones, {12.0, 8.0, 4.0}, 1.0, true);
        drag("a room, one microphone", microphones, {7.0, 6.0, 3.0}, 0.2, false);
        drag("a room, the source", microphones, {7.0, 6.0, 3.0}, 0.2, true);
        drag("a large live hall, the source", microphones, {30.0, 20.0, 10.0}, 0.1, true);
        drag("a cupboard, the source", microphones, {0.9, 1.4, 2.0}, 0.1, true);
    }
    callbacks();
}
