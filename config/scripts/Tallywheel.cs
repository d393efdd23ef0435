// Takes trims from Tallywheel and tells it the simulator's own: a start for a program of your own.
//
//     mcs -r:System.Runtime.Serialization Tallywheel.cs        (Mono; or add the file to a project of .NET)
//     Tallywheel.exe [TAKE_PORT [REPORT_PORT]] [NAME=POSITION ...] [title=TITLE]
//
// It needs .NET Framework 4.5, Mono, or any .NET since, and nothing else. TAKE_PORT is the port of the aircraft file's
// `to` (47811), REPORT_PORT that of `listen` under `[simulator]` in rig.toml (47820). For simulators only, never for
// real aircraft. Replace the class PretendSimulator by your simulator's own calls; the rest may stay.
using System;
using System.Collections.Generic;
using System.Globalization;
using System.IO;
using System.Net;
using System.Net.Sockets;
using System.Runtime.Serialization;
using System.Runtime.Serialization.Json;

// ======================================== your simulator's own calls go here ========================================
// It knows only the trims that the command line names, prints what it is given and keeps it.
class PretendSimulator
{
    readonly Dictionary<string, double> trims = new Dictionary<string, double>();
    string title;

    public void Start(string name, string value)
    {
        if (name == "title") title = value;
        else trims[name] = double.Parse(value, CultureInfo.InvariantCulture);
    }

    // Moves the simulator's trim; -1 is its low end, 0 neutral, 1 its high end. `margin` is how many counts the position
    // may be off below and above, null if it is not known at all.
    public void SetTrim(string name, double position, long[] margin)
    {
        trims[name] = position;
        Console.WriteLine(name + " " + position.ToString("R", CultureInfo.InvariantCulture));
        Console.Out.Flush();
    }

    // The simulator's trims by their names in the aircraft file, each from -1 to 1; none if it cannot tell.
    public Dictionary<string, double> GetTrims() { return trims; }

    // The title of the aircraft that is loaded, or null.
    public string GetTitle() { return title; }
}
// =====================================================================================================================

[DataContract]
class Trim
{
    [DataMember(Name = "position", IsRequired = true)] public double Position;
    [DataMember(Name = "margin")] public long[] Margin;
}

[DataContract]
class Frame
{
    [DataMember(Name = "time_us", IsRequired = true)] public ulong TimeUs;
    [DataMember(Name = "trims", IsRequired = true)] public Dictionary<string, Trim> Trims;
}

[DataContract]
class Report
{
    [DataMember(Name = "tallywheel")] public int Version = 1;
    [DataMember(Name = "session")] public string Session;
    [DataMember(Name = "sequence")] public ulong Sequence;
    [DataMember(Name = "trims")] public Dictionary<string, double> Trims;
    [DataMember(Name = "title", EmitDefaultValue = false)] public string Title;
}

static class Program
{
    const double ReportEveryMs = 500;

    static void Main(string[] words)
    {
        var simulator = new PretendSimulator();
        var ports = new List<int>();
        foreach (var word in words)
        {
            var at = word.IndexOf('=');
            if (at < 0) ports.Add(int.Parse(word, CultureInfo.InvariantCulture));
            else simulator.Start(word.Substring(0, at), word.Substring(at + 1));
        }
        var take = new UdpClient(new IPEndPoint(IPAddress.Loopback, ports.Count > 0 ? ports[0] : 47811));
        var report = new UdpClient();
        var to = new IPEndPoint(IPAddress.Loopback, ports.Count > 1 ? ports[1] : 47820);
        var settings = new DataContractJsonSerializerSettings { UseSimpleDictionaryFormat = true };
        var frames = new DataContractJsonSerializer(typeof(Frame), settings);
        var reports = new DataContractJsonSerializer(typeof(Report), settings);
        // Another session each time this program starts, so that Tallywheel begins anew with it.
        var message = new Report { Session = Guid.NewGuid().ToString("N") };
        // The time of the newest datagram: what comes late or twice is older and does nothing.
        ulong newest = 0;
        var clock = System.Diagnostics.Stopwatch.StartNew();
        double due = 0;
        while (true)
        {
            var wait = Math.Max(due - clock.Elapsed.TotalMilliseconds, 1);
            if (take.Client.Poll((int)(wait * 1000), SelectMode.SelectRead))
            {
                try
                {
                    IPEndPoint from = null;
                    var frame = (Frame)frames.ReadObject(new MemoryStream(take.Receive(ref from)));
                    if (frame.TimeUs > newest)
                    {
                        newest = frame.TimeUs;
                        foreach (var trim in frame.Trims) simulator.SetTrim(trim.Key, trim.Value.Position, trim.Value.Margin);
                    }
                }
                catch (SerializationException error)
                {
                    Console.Error.WriteLine("not a datagram of Tallywheel's: " + error.Message);
                }
                catch (SocketException)
                {
                    // On Windows the answer to a report that nobody took.
                }
            }
            if (clock.Elapsed.TotalMilliseconds < due) continue;
            due = clock.Elapsed.TotalMilliseconds + ReportEveryMs;
            message.Sequence += 1;
            message.Trims = simulator.GetTrims();
            message.Title = simulator.GetTitle();
            var text = new MemoryStream();
            reports.WriteObject(text, message);
            try
            {
                report.Send(text.ToArray(), (int)text.Length, to);
            }
            catch (SocketException)
            {
                // Tallywheel does not run; the next report may reach it.
            }
        }
    }
}
