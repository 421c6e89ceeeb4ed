#pragma once

#include <juce_audio_devices/juce_audio_devices.h>

namespace spillwright::test {

/// A device in name only: its rate is all that the player asks of it.
class NamedRate : public juce::AudioIODevice {
public:
    explicit NamedRate(double rateHz) : juce::AudioIODevice("rate", "test"), rate(rateHz) {}
    juce::StringArray getOutputChannelNames() override { return {"left", "right"}; }
    juce::StringArray getInputChannelNames() override { return {}; }
    juce::Array<double> getAvailableSampleRates() override { return {rate}; }
    juce::Array<int> getAvailableBufferSizes() override { return {getDefaultBufferSize()}; }
    int getDefaultBufferSize() override { return 128; }
    juce::String open(const juce::BigInteger&, const juce::BigInteger&, double, int) override { return {}; }
    void close() override {}
    bool isOpen() override { return true; }
    void start(juce::AudioIODeviceCallback*) override {}
    void stop() override {}
    bool isPlaying() override { return true; }
    juce::String getLastError() override { return {}; }
    int getCurrentBufferSizeSamples() override { return getDefaultBufferSize(); }
    double getCurrentSampleRate() override { return rate; }
    int getCurrentBitDepth() override { return 32; }
    juce::BigInteger getActiveOutputChannels() const override { return 3; }
    juce::BigInteger getActiveInputChannels() const override { return 0; }
    int getOutputLatencyInSamples() override { return 0; }
    int getInputLatencyInSamples() override { return 0; }

private:
    double rate;
};

} // namespace spillwright::test
